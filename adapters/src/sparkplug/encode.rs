//! From signals to metrics: the inverse of `decode`, for the simulated machine.

use std::collections::BTreeMap;

use stencilward_domain::signal::{MachineState, Measurement, Said, WashOutcome};

use super::payload::{Value, datatype};
use super::settings::{Metric, Phase, Settings};
use crate::settings::Drive;
use crate::simulated::CannotSay;

type Told = (String, Option<Value>);

/// Every metric of a machine with these settings, its type, and its first value: what is true or
/// false is false, all else has none.
pub(super) fn blank(settings: &Settings) -> BTreeMap<String, (u32, Option<Value>)> {
    let metrics = settings.metrics.iter().map(|metric| (metric.name().to_owned(), kind(metric)));
    let outputs = settings.outputs.iter().flat_map(|output| {
        let kind = match output.drive {
            Drive::Heartbeat => datatype::INT64,
            _ => datatype::BOOLEAN,
        };
        let names = std::iter::once(&output.metric).chain(&output.read_back);
        names.map(move |name| (name.clone(), kind)).collect::<Vec<_>>()
    });
    let first = |kind| (kind == datatype::BOOLEAN).then_some(Value::Boolean(false));
    metrics.chain(outputs).map(|(name, kind)| (name, (kind, first(kind)))).collect()
}

fn kind(metric: &Metric) -> u32 {
    match metric {
        Metric::StrokeTotal(_) | Metric::WipeTotal(_) => datatype::UINT64,
        Metric::Slot(_) | Metric::Fault(_) | Metric::StoreAsked(_) | Metric::TakeAsked(_) => {
            datatype::BOOLEAN
        }
        Metric::Measured(_) => datatype::DOUBLE,
        _ => datatype::STRING,
    }
}

/// The messages by which a machine with these settings says this, each with its metrics.
pub(super) fn metrics(settings: &Settings, said: &Said) -> Result<Vec<Vec<Told>>, CannotSay> {
    let mut messages = vec![Vec::new()];
    for metric in &settings.metrics {
        if let (Some(value), Some(first)) = (value(metric, said), messages.first_mut()) {
            first.push((metric.name().to_owned(), value));
        }
    }
    // Who asks falls silent after that, so that the next question shows.
    let asks = |metric: &&Metric| match said {
        Said::StoreAsked { .. } => matches!(metric, Metric::StoreAsked(_)),
        Said::TakeAsked { .. } => matches!(metric, Metric::TakeAsked(_)),
        _ => false,
    };
    if let Some(metric) = settings.metrics.iter().find(asks) {
        messages.push(vec![(metric.name().to_owned(), Some(Value::Boolean(false)))]);
    }
    if messages.iter().all(Vec::is_empty) {
        return Err(CannotSay::NotMapped(said.kind()));
    }
    Ok(messages)
}

/// What this metric is by what is said; none when it says nothing of it.
fn value(metric: &Metric, said: &Said) -> Option<Option<Value>> {
    let text = |text: &str| Some(Value::String(text.to_owned()));
    let may = |word: Option<&str>| word.and_then(text);
    Some(match (metric, said) {
        (Metric::StrokeTotal(_) | Metric::WipeTotal(_), Said::CounterRead { counter, raw, .. })
            if metric.counter().is_some_and(|(known, _)| known == *counter) =>
        {
            Some(Value::Long(*raw))
        }
        (Metric::StencilSeated(_), Said::Seated { code }) => text(code.as_str()),
        (Metric::StencilSeated(_), Said::Removed) => None,
        (Metric::Slot(entry), Said::SlotOccupied { slot, .. }) if entry.slot == slot.as_str() => {
            Some(Value::Boolean(true))
        }
        (Metric::Slot(entry), Said::SlotEmptied { slot, .. }) if entry.slot == slot.as_str() => {
            Some(Value::Boolean(false))
        }
        (Metric::SlotCode(entry), Said::SlotOccupied { slot, code })
            if entry.slot == slot.as_str() =>
        {
            may(code.as_ref().map(|code| code.as_str()))
        }
        (Metric::SlotCode(entry), Said::SlotEmptied { slot, .. })
            if entry.slot == slot.as_str() =>
        {
            None
        }
        (Metric::MachineState(entry), Said::State { state, word }) => {
            let listed = entry.values.iter().find(|(_, of)| MachineState::from(**of) == *state);
            text(listed.map_or(word, |(word, _)| word))
        }
        (Metric::Fault(entry), Said::FaultRaised { code, .. }) if entry.code == *code => {
            Some(Value::Boolean(true))
        }
        (Metric::Fault(entry), Said::FaultEnded { code }) if entry.code == *code => {
            Some(Value::Boolean(false))
        }
        (Metric::Measured(entry), Said::Measured { measurement, .. }) => {
            gauge(entry, std::slice::from_ref(measurement))?
        }
        (Metric::Measured(entry), Said::WashEnded { measured, .. }) => gauge(entry, measured)?,
        (Metric::WashState(entry), Said::WashBegan { .. }) => {
            may(word_of(&entry.values, Phase::Running))
        }
        (Metric::WashState(entry), Said::WashEnded { outcome, .. }) => {
            may(word_of(&entry.values, phase(*outcome)))
        }
        (Metric::WashStencil(_), Said::WashBegan { code, .. } | Said::WashEnded { code, .. }) => {
            may(code.as_ref().map(|code| code.as_str()))
        }
        (
            Metric::WashProgramme(_),
            Said::WashBegan { programme, .. } | Said::WashEnded { programme, .. },
        ) => may(programme.as_deref()),
        (Metric::Order(_), Said::OrderStarted(order)) => text(order.order.as_str()),
        (Metric::Order(_), Said::OrderFinished { .. }) => None,
        (Metric::StoreAsked(_), Said::StoreAsked { .. })
        | (Metric::TakeAsked(_), Said::TakeAsked { .. }) => Some(Value::Boolean(true)),
        (Metric::AskedStencil(_), Said::StoreAsked { code, .. } | Said::TakeAsked { code, .. }) => {
            text(code.as_str())
        }
        (Metric::AskedSlot(_), Said::StoreAsked { slot, .. }) => {
            may(slot.as_ref().map(|slot| slot.as_str()))
        }
        (Metric::AskedOrder(_), Said::TakeAsked { order, .. }) => {
            may(order.as_ref().map(|order| order.as_str()))
        }
        _ => return None,
    })
}

fn gauge(entry: &super::settings::Measured, measured: &[Measurement]) -> Option<Option<Value>> {
    let found = measured.iter().find(|measurement| measurement.quantity == entry.quantity)?;
    Some(Some(Value::Double((found.value - entry.offset) / entry.scale)))
}

fn word_of(values: &BTreeMap<String, Phase>, phase: Phase) -> Option<&str> {
    values.iter().find(|(_, of)| **of == phase).map(|(word, _)| word.as_str())
}

fn phase(outcome: WashOutcome) -> Phase {
    match outcome {
        WashOutcome::Passed => Phase::Passed,
        WashOutcome::Failed => Phase::Failed,
        WashOutcome::Aborted => Phase::Aborted,
    }
}
