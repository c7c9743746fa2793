//! Storage racks: questions, slots that fill and empty, breaches.

use std::time::Duration;

use super::Site;
use crate::decision::{Cause, Decision, Rule};
use crate::event::Event;
use crate::machine::{Permit, Slot};
use crate::names::{MachineName, OrderName, SlotName, StencilCode};
use crate::place::Place;
use crate::reason::Reason;
use crate::time::Timestamp;

/// After a link comes up, slots shown occupied within this time were so before.
const SETTLING: Duration = Duration::from_secs(2);

impl Site {
    pub(super) fn store_asked(
        &mut self,
        code: &StencilCode,
        rack: Option<&MachineName>,
        slot: Option<&SlotName>,
        by: Option<&str>,
    ) -> Decision {
        let decision = (self.rules.store)(&self.case(self.origin.at), code, rack, slot);
        if decision.permitted() {
            self.vacate(code);
        }
        self.answer(decision, by)
    }

    pub(super) fn take_asked(
        &mut self,
        code: &StencilCode,
        rack: Option<&MachineName>,
        order: Option<&OrderName>,
        by: Option<&str>,
    ) -> Decision {
        let mut decision = (self.rules.take)(&self.case(self.origin.at), code, rack, order);
        decision.reasons.extend(by.and_then(|by| self.promised_to_another(code, by)));
        self.answer(decision, by)
    }

    /// Of two people who ask for one stencil, the first has it until the permission is used or
    /// over. A rack that asks by itself stands where the stencil is: it is not kept waiting.
    fn promised_to_another(&self, code: &StencilCode, by: &str) -> Option<Cause> {
        let promised = self.state.stencils.get(code)?.promised.as_ref()?;
        let (to, until) = (promised.value.to.clone(), promised.value.until);
        (to != by && self.is_ahead(until, self.origin.at)).then_some(Cause {
            reason: Reason::Promised { to, until },
            because: Some(promised.because),
        })
    }

    fn answer(&mut self, decision: Decision, by: Option<&str>) -> Decision {
        let decision = Decision { by: by.map(str::to_owned), ..decision };
        let until = self.origin.at.plus(self.plant.policy.permit_time);
        let valid_until = decision.permitted().then_some(until);
        self.record(Event::Decided { decision: decision.clone(), valid_until });
        decision
    }

    pub(super) fn slot_occupied(
        &mut self,
        rack: &MachineName,
        slot: &SlotName,
        code: Option<&StencilCode>,
    ) {
        let before = self.slot(rack, slot);
        let seen = before.is_some()
            || self.live.get(rack).is_some_and(|live| live.seen_empty.contains(slot));
        let filled = matches!(before, None | Some(Slot::Empty)) && (seen || !self.settling(rack));
        let code = code.cloned().or_else(|| self.expected(rack, slot).filter(|_| filled));
        match (&before, &code) {
            (Some(Slot::HoldsUnknown), Some(code)) if !self.state.stencils.contains_key(code) => {
                return;
            }
            (Some(Slot::Holds(held)), Some(code)) if held == code => return,
            (Some(Slot::Holds(_) | Slot::HoldsUnknown), None) => return,
            (Some(Slot::Holds(held)), Some(_)) => self.left_slot(rack, slot, &held.clone()),
            _ => {}
        }
        match code {
            Some(code) => self.put_in_slot(rack, slot, &code, seen),
            None if !seen && self.settling(rack) => self.record(Event::SlotFound {
                stencil: None,
                rack: rack.clone(),
                slot: slot.clone(),
            }),
            None => self.record(Event::StorageBreached {
                stencil: None,
                rack: rack.clone(),
                slot: slot.clone(),
                reasons: Vec::new(),
            }),
        }
    }

    fn put_in_slot(&mut self, rack: &MachineName, slot: &SlotName, code: &StencilCode, seen: bool) {
        let (name, place) = (rack.clone(), slot.clone());
        let decision = (self.rules.store)(&self.case(self.origin.at), code, Some(rack), Some(slot));
        let new = self.state.stencils.get(code).is_some_and(|stencil| !stencil.has_history);
        if new && !seen {
            let stencil = Some(code.clone());
            self.record(Event::SlotFound { stencil, rack: name, slot: place });
        } else if decision.permitted() {
            self.vacate(code);
            self.record(Event::Stored { stencil: code.clone(), rack: name, slot: place });
        } else {
            let unknown =
                decision.reasons.iter().any(|c| matches!(c.reason, Reason::UnknownStencil { .. }));
            let stencil = (!unknown).then(|| code.clone());
            let reasons = decision.reasons;
            self.vacate(code);
            self.record(Event::StorageBreached { stencil, rack: name, slot: place, reasons });
        }
    }

    pub(super) fn slot_emptied(
        &mut self,
        rack: &MachineName,
        slot: &SlotName,
        code: Option<&StencilCode>,
    ) {
        self.live_mut(rack).seen_empty.insert(slot.clone());
        match (self.slot(rack, slot), code) {
            (Some(Slot::Holds(held)), _) => self.left_slot(rack, slot, &held),
            (Some(Slot::HoldsUnknown), Some(code)) if self.state.stencils.contains_key(code) => {
                self.left_slot(rack, slot, code);
            }
            (Some(Slot::HoldsUnknown), _) => {
                self.record(Event::SlotCleared { rack: rack.clone(), slot: slot.clone() });
            }
            (Some(Slot::Empty) | None, _) => {}
        }
    }

    fn left_slot(&mut self, rack: &MachineName, slot: &SlotName, code: &StencilCode) {
        let now = self.origin.at;
        let permitted = self.state.machines.get(rack).is_some_and(|machine| {
            machine.permits.iter().any(|permit| {
                permit.rule == Rule::Take && permit.stencil == *code && self.is_open(permit, now)
            })
        });
        self.record(Event::Taken {
            stencil: code.clone(),
            rack: rack.clone(),
            slot: slot.clone(),
            permitted,
        });
    }

    fn slot(&self, rack: &MachineName, slot: &SlotName) -> Option<Slot> {
        self.state.machines.get(rack)?.slots.get(slot).cloned()
    }

    /// The stencil that a permitted store lets expect in this slot, when there is only one.
    fn expected(&self, rack: &MachineName, slot: &SlotName) -> Option<StencilCode> {
        let now = self.origin.at;
        let mut expected = self.state.machines.get(rack)?.permits.iter().filter(|permit| {
            permit.rule == Rule::Store
                && self.is_open(permit, now)
                && permit.slot.as_ref().is_none_or(|named| named == slot)
        });
        let first = expected.next()?;
        expected.next().is_none().then(|| first.stencil.clone())
    }

    /// True while the permit may be carried out.
    pub(super) fn is_open(&self, permit: &Permit, now: Timestamp) -> bool {
        self.is_ahead(permit.until, now)
    }

    /// True until then; a clock put back does not lengthen it.
    fn is_ahead(&self, until: Timestamp, now: Timestamp) -> bool {
        until > now && until.since(now) <= self.plant.policy.permit_time
    }

    fn settling(&self, rack: &MachineName) -> bool {
        let up = self.live.get(rack).and_then(|live| live.up_since);
        up.is_some_and(|up| self.origin.at.apart(up) <= SETTLING)
    }

    /// True when the stencil is in a slot, by the rack's word.
    #[must_use]
    pub fn is_stored(&self, code: &StencilCode) -> bool {
        self.state
            .stencils
            .get(code)
            .is_some_and(|stencil| matches!(stencil.place.value, Place::Slot { .. }))
    }
}
