//! What a machine's messages let it say.

use stencilward_domain::signal::{MachineState, Width};

use crate::mqtt::settings::{Message, Signal};
use crate::simulated::{Slots, Wired};

pub(super) fn wired<'m>(messages: impl Iterator<Item = &'m Message>) -> Wired {
    let mut wired = Wired::default();
    let (mut began, mut ended) = (None, None);
    for entry in messages {
        wired.says.push(title(entry));
        wired.answered |= entry.answer.is_some();
        match entry.signal {
            Signal::StrokeTotal | Signal::WipeTotal => wired
                .counters
                .extend(entry.counter().map(|(name, counted)| (name, width(entry.width), counted))),
            Signal::StrokesDone => wired.strokes = true,
            Signal::WipesDone => wired.wipes = true,
            Signal::StencilSeated => wired.seat = true,
            Signal::WashBegan => began = Some(entry.stencil.is_some()),
            Signal::WashEnded => {
                ended = Some(entry.stencil.is_some());
                let measured = entry.measured.iter();
                wired
                    .measures_washes
                    .extend(measured.map(|at| (at.quantity.clone(), at.unit.clone())));
            }
            Signal::SlotOccupied => wired.slots = Slots::Any,
            Signal::StoreAsked => wired.asks_store = true,
            Signal::TakeAsked => wired.asks_take = true,
            Signal::MachineState => {
                wired.states.extend(entry.states.values().map(|state| MachineState::from(*state)));
            }
            Signal::Fault => {
                wired.faults.push(("R-1".to_owned(), "a fault of the rehearsal".to_owned()));
            }
            Signal::Measured => {
                let of = (entry.quantity.clone(), entry.unit.clone());
                wired.measures.extend(of.0.zip(of.1));
                wired.names_measured |= entry.stencil.is_some();
            }
            Signal::OrderReleased => wired.releases_orders = true,
            Signal::OrderStarted => wired.starts_orders = true,
            Signal::OrderFinished => wired.finishes_orders = true,
            Signal::BoardsCounted => wired.boards = true,
            Signal::StencilRemoved | Signal::SlotEmptied | Signal::Link => {}
        }
    }
    wired.washes = ended.is_some();
    wired.names_washed = ended == Some(true) && began != Some(false);
    wired
}

fn width(bits: Option<u8>) -> Width {
    match bits {
        Some(16) => Width::Bits16,
        Some(64) => Width::Bits64,
        _ => Width::Bits32,
    }
}

/// The signal's word in settings and, of several, which.
fn title(entry: &Message) -> String {
    let word = serde_json::to_value(entry.signal).unwrap_or_default();
    let word = word.as_str().unwrap_or_default().to_owned();
    let which = match entry.signal {
        Signal::StrokeTotal | Signal::WipeTotal => Some(entry.counter_name()),
        Signal::Measured => entry.quantity.as_deref(),
        _ => None,
    };
    which.map_or_else(|| word.clone(), |which| format!("{word} {which}"))
}
