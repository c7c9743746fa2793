//! What was done with a stencil at an earlier time and is told only now: it counts, and changes
//! what holds now only as far as nothing later does.

use super::{Cleanliness, Sourced, Stencil};
use crate::event::{Event, Recorded};
use crate::past::Uses;
use crate::signal::WashOutcome;
use crate::time::Timestamp;

impl Stencil {
    /// Remembers from now on when it is printed with. What was printed since its last wash is taken
    /// to have been so until its last stroke.
    pub fn remember_uses(&mut self) {
        if self.uses.is_none() {
            let mut uses = Uses::default();
            if let Some(last) = &self.last_stroke
                && self.cleanliness.value != Cleanliness::Clean
            {
                uses.printed(last.since, self.strokes_since_wash);
            }
            self.uses = Some(uses);
        }
    }

    pub(super) fn apply_late(&mut self, recorded: &Recorded, then: Timestamp) {
        match &recorded.fact.event {
            Event::StrokesBooked { count, .. } => {
                self.strokes = self.strokes.saturating_add(*count);
                if self.concession.as_ref().is_some_and(|granted| granted.since <= then) {
                    self.use_concession(0, *count);
                }
                self.printed_late(*count, recorded, then);
            }
            Event::StrokesUnattributed { .. } => self.printed_late(0, recorded, then),
            Event::WashBegan { .. } if self.settled_since(then) => {}
            Event::WashEnded { outcome: WashOutcome::Passed, .. } => {
                self.washed_late(recorded, then);
            }
            Event::WashEnded { .. } if self.settled_since(then) => {}
            Event::Measured { .. } if self.tension.as_ref().is_some_and(|t| t.since > then) => {}
            _ => self.apply_use(recorded),
        }
    }

    fn printed_late(&mut self, count: u64, recorded: &Recorded, then: Timestamp) {
        if self.washed_off(recorded.position, Some(then)) {
            return;
        }
        self.strokes_since_wash = self.strokes_since_wash.saturating_add(count);
        if let Some(uses) = &mut self.uses {
            uses.printed(then, count);
        }
        let certain = count > 0 || self.cleanliness.value == Cleanliness::Clean;
        if certain && self.last_stroke.as_ref().is_none_or(|last| last.since <= then) {
            let because = recorded.position;
            self.last_stroke = Some(Sourced { value: (), since: then, because });
        }
        let washing = self.cleanliness.value == Cleanliness::Washing;
        if certain && !(washing && self.cleanliness.since > then) {
            self.become_clean(Cleanliness::Printed, recorded);
        }
    }

    fn washed_late(&mut self, recorded: &Recorded, then: Timestamp) {
        self.washes = self.washes.saturating_add(1);
        let left = self.strokes_after(then);
        let later = self.uses.as_ref().and_then(|uses| uses.after(then));
        if let Some(uses) = &mut self.uses {
            uses.washed(then);
        }
        if self.washed_off(recorded.position, Some(then)) {
            return;
        }
        let because = recorded.position;
        self.last_wash = Some(Sourced { value: (), since: then, because });
        self.strokes_since_wash = left;
        let unclear = self.unclear_since(then);
        if unclear && self.cleanliness.value == Cleanliness::Washing {
            return;
        }
        let left = match (later, unclear) {
            (Some(_), _) => Cleanliness::Printed,
            (None, true) => Cleanliness::Unknown,
            (None, false) => Cleanliness::Clean,
        };
        self.dried_out &= left == Cleanliness::Printed;
        self.become_clean(left, recorded);
    }

    /// Strokes since its last wash that were made after `then`.
    #[must_use]
    pub fn strokes_after(&self, then: Timestamp) -> u64 {
        let later = self.uses.as_ref().and_then(|uses| uses.after(then));
        later.unwrap_or(0).min(self.strokes_since_wash)
    }

    /// True when something later than `then` has said more of how clean it is.
    fn settled_since(&self, then: Timestamp) -> bool {
        self.last_wash.as_ref().is_some_and(|wash| wash.since > then)
            || self.uses.as_ref().is_some_and(|uses| uses.after(then).is_some())
            || self.unclear_since(then)
    }

    fn unclear_since(&self, then: Timestamp) -> bool {
        self.uses.as_ref().is_some_and(|uses| uses.unclear_after(then))
    }
}
