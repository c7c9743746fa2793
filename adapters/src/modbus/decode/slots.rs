//! What a rack's slots hold.

use std::collections::{BTreeMap, BTreeSet};

use stencilward_domain::names::{SlotName, StencilCode};
use stencilward_domain::signal::Said;

use super::{Round, name};
use crate::link::Trouble;
use crate::modbus::bank::Bank;
use crate::modbus::wiring::SlotFields;

/// What was told of the slots.
#[derive(Debug, Clone, Default)]
pub(super) struct Slots {
    told: BTreeMap<SlotName, Shown>,
    /// Slots told nothing of yet because their code may still come.
    unnamed: BTreeSet<SlotName>,
}

/// What a slot shows.
#[derive(Debug, Clone, PartialEq, Eq)]
enum Shown {
    Empty,
    Occupied(Option<StencilCode>),
}

impl Slots {
    pub(super) fn step(
        &mut self,
        slots: &BTreeMap<SlotName, SlotFields>,
        bank: &Bank,
        first: bool,
        round: &mut Round,
    ) {
        for (slot, fields) in slots {
            let Some(shown) = shown(slot, fields, bank, &mut round.troubles) else {
                continue;
            };
            let before = self.told.get(slot);
            if before == Some(&shown) || still_named(before, &shown) {
                continue;
            }
            let may_come = fields.code.is_some() && shown == Shown::Occupied(None) && !first;
            if may_come && self.unnamed.insert(slot.clone()) {
                continue;
            }
            self.unnamed.remove(slot);
            let left = match before {
                Some(Shown::Occupied(code)) => code.clone(),
                _ => None,
            };
            self.told.insert(slot.clone(), shown.clone());
            let slot = slot.clone();
            round.said.push(match shown {
                Shown::Empty => Said::SlotEmptied { slot, code: left },
                Shown::Occupied(code) => Said::SlotOccupied { slot, code },
            });
        }
    }
}

/// What a slot shows; none when this round did not read it.
fn shown(
    slot: &SlotName,
    fields: &SlotFields,
    bank: &Bank,
    troubles: &mut Vec<(Trouble, String)>,
) -> Option<Shown> {
    let occupied = match fields.occupied {
        Some(flag) => Some(flag.read(bank)?),
        None => None,
    };
    if occupied == Some(false) {
        return Some(Shown::Empty);
    }
    let before = troubles.len();
    let code = match &fields.code {
        Some(code) => {
            name(code, bank, StencilCode::new, &format!("slot-code of {slot}"), troubles)?
        }
        None => None,
    };
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
