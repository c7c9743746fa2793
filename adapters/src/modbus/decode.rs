//! From what a round read to what the machine said, and nothing it said before.
//!
//! Pure: no connection and no clock. What was said is remembered, so that only news is told;
//! the stencil in the printer and the counters are told every round.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use stencilward_domain::names::{SlotName, StencilCode};
use stencilward_domain::signal::{MachineState, Measurement, Reading, Said};

use super::bank::Bank;
use super::registers::Value;
use super::wash::Washing;
use super::wiring::{CodeField, Gauge, SlotFields, Unclear, Wiring};
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
    washing: Washing,
}

/// What was told since the link came up.
#[derive(Debug, Clone, Default)]
struct Told {
    up: bool,
    slots: BTreeMap<SlotName, Shown>,
    /// Slots told nothing of yet because their code may still come.
    unnamed: BTreeSet<SlotName>,
    state: Option<i128>,
    faults: BTreeMap<String, bool>,
    /// The level of the stroke contact.
    contact: Option<bool>,
    measured: BTreeMap<usize, f64>,
}

/// What a slot shows.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Shown {
    Empty,
    Occupied(Option<StencilCode>),
}

impl Decoder {
    pub(crate) fn new(wiring: Arc<Wiring>) -> Self {
        Self { wiring, told: Told::default(), washing: Washing::default() }
    }

    /// The link is lost: the next round tells everything anew. A wash that ran then and has
    /// ended since is still told to have ended.
    pub(crate) fn lost(&mut self) {
        self.told = Told::default();
    }

    /// What this round gives. The first one since the link was lost begins with link-up.
    pub(crate) fn round(&mut self, bank: &Bank) -> Round {
        let mut round = Round::default();
        let first = !self.told.up;
        if first {
            self.told.up = true;
            round.said.push(Said::LinkUp { resumed: false });
        }
        let wiring = Arc::clone(&self.wiring);
        round.said.extend(seat(&wiring, bank, &mut round.troubles));
        self.slots(&wiring, bank, first, &mut round);
        round.said.extend(counters(&wiring, bank));
        round.said.extend(self.contact(&wiring, bank));
        round.said.extend(self.state(&wiring, bank));
        self.faults(&wiring, bank, &mut round.said);
        match &wiring.wash {
            Some(wash) => {
                let measured = || measurements(&wiring.measured, bank);
                let step = self.washing.step(wash, bank, first, measured);
                round.said.extend(step.said);
                round.troubles.extend(step.trouble);
            }
            None => self.measured(&wiring, bank, &mut round),
        }
        round
    }

    fn slots(&mut self, wiring: &Wiring, bank: &Bank, first: bool, round: &mut Round) {
        for (slot, fields) in &wiring.slots {
            let Some(shown) = shown(slot, fields, bank, &mut round.troubles) else {
                continue;
            };
            let before = self.told.slots.get(slot);
            if before == Some(&shown) || still_named(before, &shown) {
                continue;
            }
            let may_come = fields.code.is_some() && shown == Shown::Occupied(None) && !first;
            if may_come && self.told.unnamed.insert(slot.clone()) {
                continue;
            }
            self.told.unnamed.remove(slot);
            let left = match before {
                Some(Shown::Occupied(code)) => code.clone(),
                _ => None,
            };
            self.told.slots.insert(slot.clone(), shown.clone());
            let slot = slot.clone();
            round.said.push(match shown {
                Shown::Empty => Said::SlotEmptied { slot, code: left },
                Shown::Occupied(code) => Said::SlotOccupied { slot, code },
            });
        }
    }

    /// A stroke, when the contact has taken its level since the round before. What it did while
    /// the link was lost nobody knows.
    fn contact(&mut self, wiring: &Wiring, bank: &Bank) -> Option<Said> {
        let contact = wiring.contact?;
        let level = contact.bit.read(bank)?;
        let before = self.told.contact.replace(level)?;
        (level != before && level == contact.level).then_some(Said::StrokesDone { count: 1 })
    }

    fn state(&mut self, wiring: &Wiring, bank: &Bank) -> Option<Said> {
        let (field, meanings) = wiring.state.as_ref()?;
        let raw = field.read_whole(bank)?;
        if self.told.state.replace(raw) == Some(raw) {
            return None;
        }
        let listed = i64::try_from(raw).ok();
        let mut meanings = meanings.iter();
        let meaning = meanings.find(|(key, _)| Some(key.0) == listed);
        Some(Said::State {
            state: meaning.map_or(MachineState::Unknown, |(_, state)| *state),
            word: raw.to_string(),
        })
    }

    fn faults(&mut self, wiring: &Wiring, bank: &Bank, said: &mut Vec<Said>) {
        for fault in &wiring.faults {
            let Some(on) = fault.bit.read(bank) else {
                continue;
            };
            let code = fault.code.clone();
            if self.told.faults.insert(code.clone(), on) == Some(on) {
                continue;
            }
            said.push(if on {
                let text = fault.text.clone();
                Said::FaultRaised { code, text }
            } else {
                Said::FaultEnded { code }
            });
        }
    }

    fn measured(&mut self, wiring: &Wiring, bank: &Bank, round: &mut Round) {
        for (index, gauge) in wiring.measured.iter().enumerate() {
            match measurement(gauge, bank) {
                None => round.troubles.push((
                    Trouble::Senseless,
                    format!("{}: the registers hold no finite number", gauge.quantity),
                )),
                Some(measurement) => {
                    let value = measurement.value;
                    if self.told.measured.insert(index, value) != Some(value) {
                        round.said.push(Said::Measured { code: None, measurement });
                    }
                }
            }
        }
    }
}

/// The stencil in the printer. A code that cannot be read is not the code of the stencil that
/// was there: nothing known is seated.
fn seat(wiring: &Wiring, bank: &Bank, troubles: &mut Vec<(Trouble, String)>) -> Option<Said> {
    let seat = wiring.seat.as_ref()?;
    Some(match code(seat, bank, "stencil-seated", troubles) {
        Some(code) => Said::Seated { code },
        None => Said::Removed,
    })
}

/// A code, none when there is none or, after noting a trouble, when it cannot be read.
pub(crate) fn code(
    field: &CodeField,
    bank: &Bank,
    point: &str,
    troubles: &mut Vec<(Trouble, String)>,
) -> Option<StencilCode> {
    match field.read(bank) {
        Ok(code) => code,
        Err(unclear) => {
            let kind = match unclear {
                Unclear::Unreadable(_) => Trouble::Unreadable,
                Unclear::BadName(_) => Trouble::Senseless,
            };
            troubles.push((kind, format!("{point}: {unclear}")));
            None
        }
    }
}

fn counters(wiring: &Wiring, bank: &Bank) -> Vec<Said> {
    let read = |counter: &super::wiring::Counter| {
        Some(Said::CounterRead {
            counter: counter.name.clone(),
            raw: u64::try_from(counter.field.read_whole(bank)?).ok()?,
            width: counter.width,
            reading: Reading::Polled,
        })
    };
    wiring.counters.iter().filter_map(read).collect()
}

fn shown(
    slot: &SlotName,
    fields: &SlotFields,
    bank: &Bank,
    troubles: &mut Vec<(Trouble, String)>,
) -> Option<Shown> {
    let occupied = fields.bit.map(|bit| bit.read(bank));
    if let Some(None | Some(false)) = occupied {
        return occupied?.map(|_| Shown::Empty);
    }
    let before = troubles.len();
    let code = fields
        .code
        .as_ref()
        .and_then(|field| code(field, bank, &format!("slot-code of {slot}"), troubles));
    let unclear = troubles.len() > before;
    Some(if code.is_some() || unclear || occupied.is_some() {
        Shown::Occupied(code)
    } else {
        Shown::Empty
    })
}

/// True when the slot holds the stencil that was told, whose code is no longer shown.
fn still_named(before: Option<&Shown>, shown: &Shown) -> bool {
    matches!(before, Some(Shown::Occupied(Some(_)))) && *shown == Shown::Occupied(None)
}

fn measurements(gauges: &[Gauge], bank: &Bank) -> Vec<Measurement> {
    let measured = gauges.iter();
    measured.filter_map(|gauge| measurement(gauge, bank)).collect()
}

/// A measured value; none when it is not finite.
fn measurement(gauge: &Gauge, bank: &Bank) -> Option<Measurement> {
    let raw = match gauge.field.read(bank).ok()? {
        Value::Whole(whole) => whole as f64,
        Value::Real(real) => real,
        Value::Text(_) => return None,
    };
    let value = raw * gauge.scale + gauge.offset;
    value.is_finite().then(|| Measurement {
        quantity: gauge.quantity.clone(),
        value,
        unit: gauge.unit.clone(),
    })
}

#[cfg(test)]
mod tests;
