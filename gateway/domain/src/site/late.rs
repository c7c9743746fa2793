//! Late messages: what happened when, and what would have been decided had it been known.
//!
//! A signal is late when its machine is one whose messages tell when something happened, its clock
//! is known, and that time lies back further than the policy allows for the way. Its events then
//! say when they happened, and everything follows from that.

use std::collections::BTreeSet;

use super::Site;
use crate::clock::Reckoned;
use crate::decision::{Cause, Decision, Rule};
use crate::event::{ClockDoubted, ClockWrong, DecisionDoubted, Event, WhyUnattributed};
use crate::machine::{Machine, Seat};
use crate::names::{MachineName, StencilCode};
use crate::past::{Late, Permitted};
use crate::rules::Case;
use crate::signal::{Said, Signal};
use crate::state::State;
use crate::time::Timestamp;

/// How far the time of a scan may be off against that of the printer's own strokes: an estimate
/// of our own, without a source.
const ABOUT: std::time::Duration = std::time::Duration::from_secs(5);

impl Site {
    /// When what a signal says happened, if it is told late. A time that cannot be is noted.
    pub(super) fn told_late(&mut self, signal: &Signal) -> Option<Timestamp> {
        let told = signal.machine_time?;
        if !tells_of_the_past(&signal.said) || !self.state.timed.contains(&signal.machine) {
            return None;
        }
        let clock = self.state.machines.get(&signal.machine)?.clock;
        let wrong = match clock.reckon(signal.received, told) {
            Reckoned::At(then) => {
                let late = signal.received.since(then) > self.plant.policy.late_after;
                return late.then_some(then);
            }
            Reckoned::Unknown => return None,
            Reckoned::Ahead => ClockWrong::Ahead,
            Reckoned::Back => ClockWrong::Back,
        };
        let machine = signal.machine.clone();
        self.record(Event::ClockDoubted(ClockDoubted { machine, told, wrong }));
        None
    }

    /// When what is being told happened.
    pub(super) fn then(&self) -> Timestamp {
        self.origin.happened.unwrap_or(self.origin.at)
    }

    /// True when what is being told late does not move the stencil: it was seen since.
    pub(super) fn seen_since(&self, code: &StencilCode) -> bool {
        let stencil = self.state.stencils.get(code);
        let then = self.origin.happened;
        then.is_some_and(|then| stencil.is_some_and(|stencil| stencil.seen_since(then)))
    }

    /// True when what is being told late of a machine's stencil was followed by a change since.
    pub(super) fn changed_since(&self, machine: &MachineName) -> bool {
        let seats = self.state.machines.get(machine).and_then(|machine| machine.seats.as_ref());
        let latest = seats.and_then(|seats| seats.latest());
        self.origin.happened.is_some_and(|then| latest.is_some_and(|latest| latest > then))
    }

    /// The stencils that may have been in a machine when what is being told happened.
    ///
    /// # Errors
    /// Nobody remembers.
    pub(super) fn in_machine_then(
        &self,
        machine: &MachineName,
    ) -> Result<BTreeSet<StencilCode>, WhyUnattributed> {
        let Some(then) = self.origin.happened else {
            return Ok(self.seat_code(machine).into_iter().collect());
        };
        let by_itself = self.plant.names_stencil(machine);
        let about = if by_itself { std::time::Duration::ZERO } else { ABOUT };
        let seats = self.state.machines.get(machine).and_then(|machine| machine.seats.as_ref());
        let held = seats.and_then(|seats| seats.between(then.minus(about), then.plus(about)));
        held.ok_or(WhyUnattributed::TooLate)
    }

    /// True when the machine kept what it said, in order, and names its stencil: then what was in
    /// it is as certain as if it had been heard at once.
    pub(super) fn kept_its_word(&self, machine: &MachineName) -> bool {
        self.origin.happened.is_some()
            && self.origin.speaker.as_ref() == Some(machine)
            && self.plant.names_stencil(machine)
    }

    /// Judges anew what was permitted after something told late, once the machine has told all it
    /// has to tell of the time before: what it tells first may be undone by what it tells next.
    pub(super) fn doubt_decisions(&mut self) {
        let mut doubted = Vec::new();
        let mut judged = Vec::new();
        for permitted in &self.state.permitted {
            let Some(late) = permitted.late.as_ref().filter(|late| self.is_due(permitted, late))
            else {
                continue;
            };
            judged.push((permitted.position, late.position));
            let reasons = self.judge_again(permitted).reasons;
            let new = |cause: &Cause| !permitted.doubts.contains(cause.reason.code());
            if reasons.iter().any(new) {
                let (decision, stencil) = (&permitted.decision, &permitted.stencil.spec.stencil);
                doubted.push(DecisionDoubted {
                    stencil: stencil.clone(),
                    rule: decision.rule,
                    machine: decision.machine.clone(),
                    decision: permitted.position,
                    late: late.position,
                    reasons,
                });
            }
        }
        self.judged.extend(judged);
        let oldest = self.state.permitted.front().map(|permitted| permitted.position);
        self.judged.retain(|decision, _| Some(*decision) >= oldest);
        for doubt in doubted {
            self.record(Event::DecisionDoubted(doubt));
        }
    }

    fn is_due(&self, permitted: &Permitted, late: &Late) -> bool {
        let clock = self.state.machines.get(&late.by).map(|machine| machine.clock);
        let told = clock.is_some_and(|clock| clock.has_told(permitted.at));
        let quiet = self.origin.at.since(late.at) > self.plant.policy.late_after;
        self.judged.get(&permitted.position) != Some(&late.position) && (told || quiet)
    }

    /// What would have been decided then, by what is known now of that time.
    fn judge_again(&self, permitted: &Permitted) -> Decision {
        let Permitted { at, decision, stencil, order, .. } = permitted;
        let code = &stencil.spec.stencil;
        let mut state = State::default();
        state.orders.extend(order.clone().map(|order| (order.order.clone(), order)));
        state.stencils.insert(code.clone(), stencil.clone());
        if let (Rule::Print, Some(printer)) = (decision.rule, &decision.machine) {
            let seat = Seat { code: code.clone(), since: *at, because: permitted.position };
            let (seat, order) = (Some(seat), order.clone());
            state.machines.insert(printer.clone(), Machine { seat, order, ..Machine::default() });
        }
        let case = Case { plant: &self.plant, state: &state, now: *at };
        let (machine, order) = (decision.machine.as_ref(), decision.order.as_ref());
        match (decision.rule, machine) {
            (Rule::Store, _) => (self.rules.store)(&case, code, machine, decision.slot.as_ref()),
            // A decision that was asked for in general names the rack that held the stencil.
            (Rule::Take, _) => (self.rules.take)(&case, code, machine, order),
            (Rule::Print, Some(printer)) => (self.rules.print)(&case, printer, true),
            (Rule::Print, None) => decision.clone(),
        }
    }
}

/// True when a signal tells of something that has happened: a question is of now, and so are links.
fn tells_of_the_past(said: &Said) -> bool {
    !matches!(
        said,
        Said::LinkUp { .. }
            | Said::LinkLost { .. }
            | Said::SlotOccupied { .. }
            | Said::SlotEmptied { .. }
            | Said::StoreAsked { .. }
            | Said::TakeAsked { .. }
    )
}
