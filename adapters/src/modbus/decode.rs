//! From what a round read to what the machine said, and nothing it said before.
//!
//! Pure: no connection and no clock. What was said is remembered, so that only news is told;
//! the stencil in the printer and the counters are told in every round that reads them. Of what
//! a round did not read nothing is told.

mod asks;
mod life;
mod measured;
mod orders;
mod pulses;
mod slots;
mod states;

use std::sync::Arc;

use stencilward_domain::names::{BadName, StencilCode};
use stencilward_domain::signal::{Reading, Said};

use super::bank::Bank;
use super::registers::Value;
use super::wash::Washing;
use super::wiring::{Field, NameField, Seat, Unclear, Wiring};
use crate::link::Trouble;

/// What one round gives.
#[derive(Debug, Clone, Default, PartialEq)]
pub(crate) struct Round {
    /// In the order in which they are to be handed over.
    pub(crate) said: Vec<Said>,
    /// What could not be understood, in words.
    pub(crate) troubles: Vec<(Trouble, String)>,
}

/// Makes signals of rounds.
#[derive(Debug, Clone)]
pub(crate) struct Decoder {
    wiring: Arc<Wiring>,
    told: Told,
    kept: Kept,
}

/// What was told since the link came up.
#[derive(Debug, Clone, Default)]
struct Told {
    up: bool,
    /// That the machine behind the link is gone.
    absent: bool,
    slots: slots::Slots,
    states: states::States,
    contacts: pulses::Levels,
    gauges: measured::Gauges,
}

/// What is remembered although the link was lost.
#[derive(Debug, Clone, Default)]
struct Kept {
    life: life::Pulse,
    boards: pulses::Boards,
    order: orders::Working,
    washing: Washing,
    station: measured::Station,
    asked: asks::Asked,
}

impl Decoder {
    pub(crate) fn new(wiring: Arc<Wiring>) -> Self {
        Self { wiring, told: Told::default(), kept: Kept::default() }
    }

    /// The link is lost: the next round tells everything anew. A wash that ran then and has
    /// ended since is still told to have ended, and an order too; a question that still stands
    /// is not told again.
    pub(crate) fn lost(&mut self) {
        self.told = Told::default();
        self.kept.life.reset();
    }

    /// What this round gives. The first one since the link was lost begins with link-up.
    pub(crate) fn round(&mut self, bank: &Bank) -> Round {
        let mut round = Round::default();
        if let Some(why) = self.kept.life.absent(&self.wiring, bank) {
            if !self.told.absent {
                self.told = Told { absent: true, ..Told::default() };
                round.said.push(Said::LinkLost { why });
            }
            return round;
        }
        self.told.absent = false;
        let first = !std::mem::replace(&mut self.told.up, true);
        if first {
            round.said.push(Said::LinkUp { resumed: false });
        }
        self.tell(bank, first, &mut round);
        round
    }

    fn tell(&mut self, bank: &Bank, first: bool, round: &mut Round) {
        let Self { wiring, told, kept } = self;
        let wiring: &Wiring = wiring;
        round.said.extend(seat(&wiring.seat, bank, &mut round.troubles));
        told.slots.step(&wiring.slots, bank, first, round);
        counters(wiring, bank, round);
        told.contacts.step(&wiring.contacts, bank, round);
        kept.boards.step(wiring.boards, bank, round);
        if let Some(order) = &wiring.order {
            kept.order.step(order, bank, round);
        }
        told.states.step(wiring, bank, round);
        if let Some(wash) = &wiring.wash {
            let step = kept.washing.step(wash, &wiring.measured, bank, first);
            round.said.extend(step.said);
            round.troubles.extend(step.trouble);
        } else if let Some(station) = &wiring.station {
            kept.station.step(station, &wiring.measured, bank, round);
        } else {
            told.gauges.step(&wiring.measured, bank, round);
        }
        if let Some(ask) = &wiring.ask {
            kept.asked.step(ask, bank, round);
        }
    }
}

pub(crate) use measured::measurements;

/// The stencil in the printer. A code that cannot be read is not the code of the stencil that
/// was there: nothing known is seated.
fn seat(seat: &Seat, bank: &Bank, troubles: &mut Vec<(Trouble, String)>) -> Option<Said> {
    if seat.present.is_some_and(|present| present.read(bank) == Some(false)) {
        return Some(Said::Removed);
    }
    let code = name(seat.code.as_ref()?, bank, StencilCode::new, "stencil-seated", troubles)?;
    Some(code.map_or(Said::Removed, |code| Said::Seated { code }))
}

/// A name that was read: none in it when there is none or, after noting a trouble, when it cannot
/// be understood.
pub(crate) fn name<T>(
    field: &NameField,
    bank: &Bank,
    new: fn(&str) -> Result<T, BadName>,
    point: &str,
    troubles: &mut Vec<(Trouble, String)>,
) -> Option<Option<T>> {
    Some(field.read(bank, new)?.unwrap_or_else(|unclear| {
        let kind = match unclear {
            Unclear::Unreadable(_) => Trouble::Unreadable,
            Unclear::BadName(_) => Trouble::Senseless,
        };
        troubles.push((kind, format!("{point}: {unclear}")));
        None
    }))
}

/// A whole number that was read, none after noting a trouble when it cannot be understood.
pub(crate) fn whole(
    field: Field,
    bank: &Bank,
    point: &str,
    troubles: &mut Vec<(Trouble, String)>,
) -> Option<i128> {
    match field.read(bank)? {
        Ok(Value::Whole(whole)) => Some(whole),
        Ok(Value::Real(_) | Value::Text(_)) => None,
        Err(unreadable) => {
            troubles.push((Trouble::Unreadable, format!("{point}: {unreadable}")));
            None
        }
    }
}

fn counters(wiring: &Wiring, bank: &Bank, round: &mut Round) {
    for counter in &wiring.counters {
        let raw = whole(counter.field, bank, counter.name.as_str(), &mut round.troubles);
        let raw = raw.and_then(|raw| u64::try_from(raw).ok());
        round.said.extend(raw.map(|raw| Said::CounterRead {
            counter: counter.name.clone(),
            raw,
            width: counter.width,
            reading: Reading::Polled,
        }));
    }
}

#[cfg(test)]
mod tests;
