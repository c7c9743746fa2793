//! What a machine's metrics let it say.

use stencilward_domain::names::SlotName;
use stencilward_domain::signal::{MachineState, Width};

use crate::simulated::{Slots, Wired};
use crate::sparkplug::settings::{Metric, Settings};

pub(super) fn wired(settings: &Settings) -> Wired {
    let mut wired = Wired::default();
    let washes = settings.metrics.iter().any(|metric| matches!(metric, Metric::WashState(_)));
    let mut slots: Vec<SlotName> = Vec::new();
    for metric in &settings.metrics {
        wired.says.push(title(metric));
        match metric {
            Metric::StrokeTotal(total) | Metric::WipeTotal(total) => {
                let counter = metric.counter();
                let width = width(total.width);
                wired.counters.extend(counter.map(|(name, counted)| (name, width, counted)));
            }
            Metric::StencilSeated(_) => wired.seat = true,
            Metric::Slot(entry) | Metric::SlotCode(entry) => {
                let slot = SlotName::new(&entry.slot).ok();
                slots.extend(slot.filter(|slot| !slots.contains(slot)));
            }
            Metric::MachineState(entry) => {
                wired.states.extend(entry.values.values().map(|state| MachineState::from(*state)));
            }
            Metric::Fault(entry) => wired.faults.push((entry.code.clone(), entry.text.clone())),
            Metric::Measured(entry) => {
                let of = (entry.quantity.clone(), entry.unit.clone());
                if washes { &mut wired.measures_washes } else { &mut wired.measures }.push(of);
            }
            Metric::WashState(_) => wired.washes = true,
            Metric::WashStencil(_) => wired.names_washed = true,
            Metric::Order(_) => (wired.starts_orders, wired.finishes_orders) = (true, true),
            Metric::StoreAsked(_) => wired.asks_store = true,
            Metric::TakeAsked(_) => wired.asks_take = true,
            Metric::WashProgramme(_)
            | Metric::AskedStencil(_)
            | Metric::AskedSlot(_)
            | Metric::AskedOrder(_) => {}
        }
    }
    wired.slots = if slots.is_empty() { Slots::None } else { Slots::Named(slots) };
    wired
}

fn width(bits: u8) -> Width {
    match bits {
        16 => Width::Bits16,
        64 => Width::Bits64,
        _ => Width::Bits32,
    }
}

/// The signal's word in settings and, of several, which.
fn title(metric: &Metric) -> String {
    let written = serde_json::to_value(metric).unwrap_or_default();
    let word = written.get("signal").and_then(|word| word.as_str()).unwrap_or_default().to_owned();
    let which = match metric {
        Metric::StrokeTotal(_) | Metric::WipeTotal(_) => {
            metric.counter().map(|(name, _)| name.to_string())
        }
        Metric::Slot(entry) | Metric::SlotCode(entry) => Some(entry.slot.clone()),
        Metric::Fault(entry) => Some(entry.code.clone()),
        Metric::Measured(entry) => Some(entry.quantity.clone()),
        _ => None,
    };
    which.map_or_else(|| word.clone(), |which| format!("{word} {which}"))
}
