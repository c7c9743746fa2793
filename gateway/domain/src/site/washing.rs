//! Washes: matched to the stencil they were for.

use super::Site;
use super::live::Continuity;
use crate::event::{Event, WashUnmatched};
use crate::names::{MachineName, StencilCode};
use crate::place::Place;
use crate::signal::{Measurement, WashOutcome};
use crate::stencil::{Cleanliness, Sourced};

/// No wash programme is shorter: an estimate of our own, without a source.
const SHORTEST_WASH: std::time::Duration = std::time::Duration::from_secs(30);

impl Site {
    pub(super) fn wash_began(
        &mut self,
        washer: &MachineName,
        code: Option<&StencilCode>,
        programme: Option<&String>,
    ) {
        let stencil = match self.washed_stencil(washer, code) {
            Ok(stencil) => stencil,
            Err(why) => return self.unmatched(washer, code, None, why),
        };
        if self.washing_in(&stencil, washer) {
            return;
        }
        self.vacate_unless(&stencil, washer);
        self.record(Event::WashBegan {
            stencil,
            machine: Some(washer.clone()),
            programme: programme.cloned(),
        });
    }

    pub(super) fn wash_ended(
        &mut self,
        washer: &MachineName,
        code: Option<&StencilCode>,
        programme: Option<&String>,
        outcome: WashOutcome,
        measured: &[Measurement],
    ) {
        let stencil = match self.washed_stencil(washer, code) {
            Ok(stencil) => stencil,
            Err(why) => return self.unmatched(washer, code, Some(outcome), why),
        };
        if self.told_again(&stencil, washer, outcome) {
            return;
        }
        if !self.washing_in(&stencil, washer) && !self.seen_since(&stencil) {
            self.vacate_unless(&stencil, washer);
            self.record(Event::WashBegan {
                stencil: stencil.clone(),
                machine: Some(washer.clone()),
                programme: programme.cloned(),
            });
        }
        self.record(Event::WashEnded {
            stencil: stencil.clone(),
            machine: Some(washer.clone()),
            by: None,
            programme: programme.cloned(),
            outcome,
            measured: measured.iter().filter(|m| m.value.is_finite()).cloned().collect(),
        });
        self.note_band(&stencil);
    }

    /// True when a washer says again how its last wash ended: none is over so soon.
    fn told_again(&self, code: &StencilCode, washer: &MachineName, outcome: WashOutcome) -> bool {
        let here = Place::Washer { machine: washer.clone() };
        let then = self.then();
        self.state.stencils.get(code).is_some_and(|stencil| {
            let just_now = |wash: &Sourced<()>| then.apart(wash.since) < SHORTEST_WASH;
            if let (Some(uses), Some(_)) = (&stencil.uses, self.origin.happened) {
                let mut washes = uses.washes();
                return outcome == WashOutcome::Passed
                    && washes.any(|wash| then.apart(wash) < SHORTEST_WASH);
            }
            outcome == WashOutcome::Passed
                && stencil.cleanliness.value == Cleanliness::Clean
                && stencil.place.value == here
                && stencil.last_wash.as_ref().is_some_and(just_now)
        })
    }

    fn vacate_unless(&mut self, stencil: &StencilCode, washer: &MachineName) {
        let place = self.state.stencils.get(stencil).map(|stencil| &stencil.place.value);
        if self.seen_since(stencil) {
            return;
        }
        if place != Some(&Place::Washer { machine: washer.clone() }) {
            self.vacate(stencil);
        }
    }

    fn washing_in(&self, code: &StencilCode, washer: &MachineName) -> bool {
        self.state.stencils.get(code).is_some_and(|stencil| {
            stencil.cleanliness.value == Cleanliness::Washing
                && stencil.place.value == Place::Washer { machine: washer.clone() }
        })
    }

    /// The stencil a washer speaks of: the code it gives, else the only one known to be in it.
    fn washed_stencil(
        &self,
        washer: &MachineName,
        code: Option<&StencilCode>,
    ) -> Result<StencilCode, String> {
        let Some(code) = code else {
            return self.only_one_in(washer);
        };
        let Some(stencil) = self.state.stencils.get(code) else {
            return Err(format!("no stencil {code} is in the list"));
        };
        if let Place::Printer { machine } = &stencil.place.value
            && self.says_now(machine, code)
            && !self.seen_since(code)
        {
            return Err(format!("{machine} says that {code} is seated in it"));
        }
        Ok(code.clone())
    }

    /// True while the machine's link is up and the machine itself names this stencil.
    pub(super) fn says_now(&self, machine: &MachineName, code: &StencilCode) -> bool {
        let seated = self
            .state
            .machines
            .get(machine)
            .and_then(|machine| machine.seat.as_ref())
            .is_some_and(|seat| seat.code == *code);
        let sure = self
            .live
            .get(machine)
            .is_some_and(|live| live.up_since.is_some() && live.continuity == Continuity::Sure);
        seated && sure && self.plant.names_stencil(machine)
    }

    pub(super) fn only_one_in(&self, washer: &MachineName) -> Result<StencilCode, String> {
        let here = Place::Washer { machine: washer.clone() };
        let mut inside = self.state.stencils.values().filter(|s| s.place.value == here);
        match (inside.next(), inside.next()) {
            (Some(only), None) => Ok(only.spec.stencil.clone()),
            (None, _) => Err("the washer gave no code and nobody scanned a stencil into it".into()),
            (Some(_), Some(_)) => Err("the washer gave no code and holds several stencils".into()),
        }
    }

    fn unmatched(
        &mut self,
        washer: &MachineName,
        code: Option<&StencilCode>,
        outcome: Option<WashOutcome>,
        why: String,
    ) {
        let (machine, code) = (washer.clone(), code.cloned());
        self.record(Event::WashUnmatched(WashUnmatched { machine, code, outcome, why }));
    }
}
