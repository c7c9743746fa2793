//! Settings made ready for work: names checked, formats fixed, what belongs together joined.

mod build;
mod field;

use std::collections::BTreeMap;
use std::time::Duration;

use stencilward_domain::names::{CounterName, OutputName, SlotName};
use stencilward_domain::signal::{MachineState, Said, WashOutcome, Width};

use super::plan::{Limits, Want};
use super::settings::RawValue;

pub(crate) use field::{Bit, Field, Flag, NameField, Unclear};

/// What each place of a machine means. Points with faults that `check` finds are left out.
#[derive(Debug, Clone, Default)]
pub(crate) struct Wiring {
    pub(crate) seat: Seat,
    pub(crate) counters: Vec<Counter>,
    pub(crate) boards: Option<Boards>,
    pub(crate) contacts: Vec<Contact>,
    pub(crate) state: Option<(Field, BTreeMap<RawValue, MachineState>)>,
    pub(crate) link: Option<Flag>,
    pub(crate) life: Option<Life>,
    pub(crate) faults: Vec<FaultFlag>,
    pub(crate) fault_code: Option<(Field, BTreeMap<RawValue, String>)>,
    pub(crate) slots: BTreeMap<SlotName, SlotFields>,
    pub(crate) ask: Option<Ask>,
    pub(crate) wash: Option<Wash>,
    pub(crate) measured: Vec<Gauge>,
    pub(crate) station: Option<Station>,
    pub(crate) order: Option<Order>,
    pub(crate) permits: Vec<Lock>,
    pub(crate) beats: Vec<Beat>,
    /// Where all of that is read.
    pub(crate) wants: Vec<Want>,
    pub(crate) limits: Limits,
}

/// What shows the stencil in a printer.
#[derive(Debug, Clone, Default)]
pub(crate) struct Seat {
    pub(crate) code: Option<NameField>,
    pub(crate) present: Option<Flag>,
}

/// A counter of strokes or wipes.
#[derive(Debug, Clone)]
pub(crate) struct Counter {
    pub(crate) name: CounterName,
    pub(crate) width: Width,
    pub(crate) field: Field,
}

/// A counter of boards.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Boards {
    pub(crate) field: Field,
    /// After this value it starts again at zero.
    pub(crate) largest: u64,
}

/// A bit that takes a level once for each event.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Contact {
    pub(crate) flag: Flag,
    pub(crate) counts: Pulse,
}

/// What a contact counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Pulse {
    Stroke,
    Wipe,
    Board,
}

impl Pulse {
    /// One of them.
    pub(crate) fn said(self) -> Said {
        match self {
            Self::Stroke => Said::StrokesDone { count: 1 },
            Self::Wipe => Said::WipesDone { count: 1 },
            Self::Board => Said::BoardsCounted { count: 1 },
        }
    }
}

/// A number that moves while the machine is alive.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Life {
    pub(crate) field: Field,
    pub(crate) within: Duration,
    /// Rounds in that time.
    pub(crate) rounds: u32,
}

/// A fault and the bit that shows it.
#[derive(Debug, Clone)]
pub(crate) struct FaultFlag {
    pub(crate) flag: Flag,
    pub(crate) code: String,
    pub(crate) text: String,
}

/// What shows the state of a slot: a bit, a code, or both.
#[derive(Debug, Clone, Default)]
pub(crate) struct SlotFields {
    pub(crate) occupied: Option<Flag>,
    pub(crate) code: Option<NameField>,
}

/// What shows a question.
#[derive(Debug, Clone)]
pub(crate) struct Ask {
    pub(crate) store: Option<Flag>,
    pub(crate) take: Option<Flag>,
    pub(crate) stencil: NameField,
    pub(crate) slot: Option<NameField>,
    pub(crate) order: Option<NameField>,
}

/// What shows a wash.
#[derive(Debug, Clone)]
pub(crate) struct Wash {
    pub(crate) running: Flag,
    pub(crate) result: Field,
    pub(crate) outcomes: BTreeMap<RawValue, WashOutcome>,
    pub(crate) stencil: Option<NameField>,
    pub(crate) programme: Option<NameField>,
}

/// A measured value.
#[derive(Debug, Clone)]
pub(crate) struct Gauge {
    pub(crate) field: Field,
    pub(crate) scale: f64,
    pub(crate) offset: f64,
    pub(crate) quantity: String,
    pub(crate) unit: String,
}

/// Where values are measured one by one, and on what.
#[derive(Debug, Clone)]
pub(crate) struct Station {
    pub(crate) taken: Flag,
    pub(crate) stencil: Option<NameField>,
}

/// What shows the order that is worked on.
#[derive(Debug, Clone)]
pub(crate) struct Order {
    pub(crate) name: NameField,
    pub(crate) running: Option<Flag>,
    pub(crate) product: Option<NameField>,
    pub(crate) quantity: Option<Field>,
    pub(crate) made: Option<Field>,
}

/// An output that permits or refuses.
#[derive(Debug, Clone)]
pub(crate) struct Lock {
    pub(crate) name: OutputName,
    pub(crate) coil: u16,
    pub(crate) on_permit: bool,
    /// Where the machine shows its state; none when the coil itself is read back.
    pub(crate) read_back: Option<Bit>,
}

/// An output that shows that the gateway is alive.
#[derive(Debug, Clone)]
pub(crate) struct Beat {
    pub(crate) name: OutputName,
    pub(crate) at: u16,
}

impl Wiring {
    /// Every bit that says something while it is active, but for the link.
    pub(crate) fn flags(&self) -> impl Iterator<Item = Flag> {
        let asked = self.ask.iter().flat_map(|ask| [ask.store, ask.take]);
        let several = [self.seat.present, self.order.as_ref().and_then(|order| order.running)];
        let contacts = self.contacts.iter().map(|contact| contact.flag);
        contacts
            .chain(several.into_iter().chain(asked).flatten())
            .chain(self.faults.iter().map(|fault| fault.flag))
            .chain(self.slots.values().filter_map(|slot| slot.occupied))
            .chain(self.wash.iter().map(|wash| wash.running))
            .chain(self.station.iter().map(|station| station.taken))
    }

    /// The contact that shows this, and how many times.
    pub(crate) fn pulses(&self, said: &Said) -> Option<(Contact, u64)> {
        let (counts, count) = match said {
            Said::StrokesDone { count } => (Pulse::Stroke, *count),
            Said::WipesDone { count } => (Pulse::Wipe, *count),
            Said::BoardsCounted { count } => (Pulse::Board, *count),
            _ => return None,
        };
        let mut contacts = self.contacts.iter();
        contacts.find(|contact| contact.counts == counts).map(|contact| (*contact, count))
    }
}

impl Lock {
    /// The bit that shows the output's state.
    pub(crate) fn shown_at(&self) -> Bit {
        self.read_back.unwrap_or(Bit::coil(self.coil))
    }

    /// The bit's value for a permit, or for a refusal.
    pub(crate) fn bit(&self, permit: bool) -> bool {
        permit == self.on_permit
    }
}
