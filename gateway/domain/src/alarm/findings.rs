//! Conditions that an event begins and another ends, since nothing else in the state shows them.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{AlarmId, AlarmKind, Subject};
use crate::event::{Basis, Event, Position, Recorded};
use crate::names::{CounterName, MachineName, StencilCode};
use crate::signal::WashOutcome;
use crate::time::Timestamp;

/// Something that was found, and holds until it ends.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Finding {
    /// When.
    pub at: Timestamp,
    /// The event that tells of it.
    pub because: Position,
    /// What it is, in words.
    pub what: String,
    /// The machine that it follows from.
    pub machine: Option<MachineName>,
    /// True once an alarm has told it: a finding that nothing ends, ends by that.
    pub told: bool,
}

impl Finding {
    /// What an event finds.
    pub(super) fn of(recorded: &Recorded) -> Option<(AlarmId, Self)> {
        let (kind, subject, what, machine) = match &recorded.fact.event {
            Event::WashEnded { stencil, machine, outcome, .. }
                if *outcome != WashOutcome::Passed =>
            {
                let washer = machine.as_ref().map_or("by hand", MachineName::as_str);
                let what = format!("{stencil}: its wash {} ({washer})", outcome.as_str());
                (AlarmKind::WashFailed, of_stencil(stencil), what, machine.clone())
            }
            Event::StorageBreached { stencil, rack, slot, .. } => {
                let name = stencil.as_ref().map_or("a stencil", StencilCode::as_str);
                let what = format!("{name} is in slot {slot} of {rack}, where it may not be");
                let subject = stencil.as_ref().map_or_else(
                    || Subject::Slot { rack: rack.clone(), slot: slot.clone() },
                    of_stencil,
                );
                (AlarmKind::StorageBreached, subject, what, None)
            }
            Event::CounterDoubted { machine, counter, last, raw, possible } => {
                let what = format!(
                    "counter {counter} of {machine} went from {last} to {raw}; {possible} strokes \
                     were possible"
                );
                (
                    AlarmKind::CounterDoubted,
                    of_counter(machine, counter),
                    what,
                    Some(machine.clone()),
                )
            }
            Event::RestartUnseen { machine, counter, at_most, .. } => {
                let what = format!(
                    "counter {counter} of {machine} restarted unseen: up to {at_most} strokes may \
                     be lost"
                );
                let subject = of_counter(machine, counter);
                (AlarmKind::CounterRestarted, subject, what, Some(machine.clone()))
            }
            Event::BasesDisagreed { machine, booked, checked_by, checked, likely, .. } => {
                let what = format!(
                    "{machine}: {booked} strokes booked, {checked} by {}: {}",
                    checked_by.as_str(),
                    likely.in_words()
                );
                let subject = Subject::Machine { machine: machine.clone() };
                (AlarmKind::BasesDisagree, subject, what, Some(machine.clone()))
            }
            _ => return None,
        };
        let (at, because) = (recorded.fact.at, recorded.position);
        Some((AlarmId { kind, subject }, Self { at, because, what, machine, told: false }))
    }
}

fn of_stencil(stencil: &StencilCode) -> Subject {
    Subject::Stencil { stencil: stencil.clone() }
}

fn of_counter(machine: &MachineName, counter: &CounterName) -> Subject {
    Subject::Counter { machine: machine.clone(), counter: counter.clone() }
}

/// Takes out what an event ends.
pub(super) fn end(findings: &mut BTreeMap<AlarmId, Finding>, event: &Event) {
    if findings.is_empty() {
        return;
    }
    let mut ends = |kind, subject| drop(findings.remove(&AlarmId { kind, subject }));
    match event {
        Event::WashEnded { stencil, outcome: WashOutcome::Passed, .. }
        | Event::Retired { stencil, .. } => {
            ends(AlarmKind::WashFailed, of_stencil(stencil));
            ends(AlarmKind::StorageBreached, of_stencil(stencil));
        }
        Event::Stored { stencil, rack, slot } => {
            ends(AlarmKind::StorageBreached, of_stencil(stencil));
            let slot = Subject::Slot { rack: rack.clone(), slot: slot.clone() };
            ends(AlarmKind::StorageBreached, slot);
        }
        Event::SlotCleared { rack, slot }
        | Event::Taken { rack, slot, .. }
        | Event::SlotFound { rack, slot, .. }
        | Event::StorageBreached { rack, slot, .. } => {
            let slot = Subject::Slot { rack: rack.clone(), slot: slot.clone() };
            ends(AlarmKind::StorageBreached, slot);
        }
        event => {
            if let Some((machine, counter)) = believed(event) {
                ends(AlarmKind::CounterDoubted, of_counter(machine, counter));
            }
        }
    }
}

/// The counter of which an event believes a value.
fn believed(event: &Event) -> Option<(&MachineName, &CounterName)> {
    match event {
        Event::CounterNoted { machine, counter, .. } => Some((machine, counter)),
        Event::StrokesBooked { machine, basis, .. }
        | Event::StrokesChecked { machine, basis, .. }
        | Event::StrokesUnattributed { machine, basis, .. }
        | Event::WipesCounted { machine, basis, .. } => match basis {
            Basis::Counter { counter, .. } | Basis::Pulses { counter, .. } => {
                Some((machine, counter))
            }
            _ => None,
        },
        _ => None,
    }
}
