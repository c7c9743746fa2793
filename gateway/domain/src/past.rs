//! What is remembered of the past so that late messages land where they belong: bounded, and only
//! in a plant with machines whose messages tell when something happened.

use std::borrow::Cow;
use std::collections::{BTreeSet, VecDeque};

use serde::{Deserialize, Serialize};

use crate::decision::Decision;
use crate::event::Position;
use crate::names::{MachineName, StencilCode};
use crate::signal::OrderSpec;
use crate::stencil::Stencil;
use crate::time::Timestamp;

/// Changes of stencil remembered of one machine; the oldest are forgotten first.
pub const CHANGES_KEPT: usize = 512;

/// Times at which one stencil was printed with, remembered since its last wash; more are merged,
/// the oldest first.
pub const USES_KEPT: usize = 512;

/// Washes of one stencil remembered, by which one that is told again is known.
pub const WASHES_KEPT: usize = 16;

/// Permitted decisions remembered; the oldest are forgotten first.
pub const DECISIONS_KEPT: usize = 1_000;

/// What was in a machine, and when.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Seats(VecDeque<(Timestamp, Option<StencilCode>)>);

impl Seats {
    /// A change that comes in order, whatever the clock says.
    pub fn change(&mut self, at: Timestamp, now_in: Option<StencilCode>) {
        let at = self.latest().map_or(at, |latest| at.max(latest));
        self.0.push_back((at, now_in));
        self.forget();
    }

    /// A change that is told late. False when a later one is known: then what is in the machine
    /// now stays.
    pub fn change_late(&mut self, then: Timestamp, was_in: Option<StencilCode>) -> bool {
        let place = self.0.partition_point(|(at, _)| *at <= then);
        let last = place == self.0.len();
        self.0.insert(place, (then, was_in));
        self.forget();
        last
    }

    fn forget(&mut self) {
        if self.0.len() > CHANGES_KEPT {
            self.0.pop_front();
        }
    }

    /// The last change.
    #[must_use]
    pub fn latest(&self) -> Option<Timestamp> {
        self.0.back().map(|(at, _)| *at)
    }

    /// The stencils that were in the machine at any time of a span; none when nobody remembers.
    #[must_use]
    pub fn between(&self, from: Timestamp, to: Timestamp) -> Option<BTreeSet<StencilCode>> {
        let first = self.0.partition_point(|(at, _)| *at <= from).checked_sub(1)?;
        let within = self.0.iter().skip(first).enumerate();
        let within = within.take_while(|(index, (at, _))| *index == 0 || *at <= to);
        Some(within.filter_map(|(_, (_, code))| code.clone()).collect())
    }
}

/// When a stencil was printed with since its last wash, and when it was washed.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Default, Serialize, Deserialize)]
pub struct Uses {
    lots: VecDeque<Lot>,
    washes: VecDeque<Timestamp>,
    /// When a wash last began, or ended without passing.
    unclear: Option<Timestamp>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
struct Lot {
    /// When the last of them was made.
    last: Timestamp,
    /// Strokes; none when it is only known that there may have been some.
    strokes: u64,
}

impl Uses {
    /// Strokes were made, or may have been where `strokes` is zero.
    pub fn printed(&mut self, at: Timestamp, strokes: u64) {
        let place = self.lots.partition_point(|lot| lot.last < at);
        match self.lots.get_mut(place) {
            Some(lot) if lot.last == at => lot.strokes = lot.strokes.saturating_add(strokes),
            _ => self.lots.insert(place, Lot { last: at, strokes }),
        }
        if self.lots.len() > USES_KEPT
            && let Some(oldest) = self.lots.pop_front()
            && let Some(next) = self.lots.front_mut()
        {
            next.strokes = next.strokes.saturating_add(oldest.strokes);
        }
    }

    /// A wash passed at `at`: what was printed before is washed off.
    pub fn washed(&mut self, at: Timestamp) {
        self.lots.retain(|lot| lot.last > at);
        self.note_wash(at);
    }

    /// A wash passed now: all that was printed is washed off, whatever the clock says.
    pub fn washed_now(&mut self, at: Timestamp) {
        self.lots.clear();
        self.note_wash(at);
    }

    /// A wash began, or ended without passing.
    pub fn made_unclear(&mut self, at: Timestamp) {
        self.unclear = self.unclear.max(Some(at));
    }

    /// True when a wash began after `then`, or ended without passing.
    #[must_use]
    pub fn unclear_after(&self, then: Timestamp) -> bool {
        self.unclear.is_some_and(|at| at > then)
    }

    fn note_wash(&mut self, at: Timestamp) {
        self.washes.push_back(at);
        if self.washes.len() > WASHES_KEPT {
            self.washes.pop_front();
        }
    }

    /// Strokes made after `then`; none when it was certainly not printed with since.
    #[must_use]
    pub fn after(&self, then: Timestamp) -> Option<u64> {
        let later = self.lots.iter().filter(|lot| lot.last > then);
        later.map(|lot| lot.strokes).reduce(u64::saturating_add)
    }

    /// When it was washed, as far as that is remembered.
    pub fn washes(&self) -> impl Iterator<Item = Timestamp> {
        self.washes.iter().copied()
    }
}

/// A decision that permitted, with what was known then and what is now known of that time.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Permitted {
    /// The event that tells of it.
    pub position: Position,
    /// When it was taken.
    pub at: Timestamp,
    /// What it permitted.
    pub decision: Decision,
    /// The stencil as it was then, with what was told late of the time before.
    pub stencil: Stencil,
    /// The order it was taken for, as it was then.
    pub order: Option<OrderSpec>,
    /// What was told last of the time before it.
    pub late: Option<Late>,
    /// Codes of the reasons that were found against it later.
    pub doubts: BTreeSet<Cow<'static, str>>,
}

/// An event that was told late.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Late {
    /// The event.
    pub position: Position,
    /// When it was told.
    pub at: Timestamp,
    /// By which machine.
    pub by: MachineName,
}

#[cfg(test)]
mod tests {
    use super::*;

    fn code(name: &str) -> StencilCode {
        StencilCode::new(name).expect("a good code")
    }

    #[test]
    fn seats_are_found_by_time_and_a_late_one_goes_between() {
        let mut seats = Seats::default();
        let held = |seats: &Seats, from, to| {
            let names = seats.between(Timestamp(from), Timestamp(to));
            names.map(|names| names.iter().map(ToString::to_string).collect::<String>())
        };
        assert_eq!(held(&seats, 5, 5), None);
        seats.change(Timestamp(10), Some(code("A")));
        seats.change(Timestamp(20), None);
        seats.change(Timestamp(30), Some(code("B")));
        let cases = [(9, 9, None), (10, 10, Some("A")), (19, 19, Some("A")), (20, 29, Some(""))];
        for (from, to, expected) in cases {
            assert_eq!(held(&seats, from, to).as_deref(), expected, "{from} to {to}");
        }
        assert_eq!(held(&seats, 15, 30).as_deref(), Some("AB"));
        assert!(!seats.change_late(Timestamp(22), Some(code("C"))));
        assert_eq!(held(&seats, 25, 25).as_deref(), Some("C"));
        assert!(seats.change_late(Timestamp(30), None), "told after the one of the same time");
        assert_eq!(held(&seats, 30, 30).as_deref(), Some(""));
        for at in 0..CHANGES_KEPT {
            seats.change(Timestamp(i64::try_from(at).unwrap()), None);
        }
        assert_eq!(held(&seats, 10, 10), None, "forgotten");
    }

    #[test]
    fn uses_are_told_apart_by_time_and_merged_when_there_are_many() {
        let mut uses = Uses::default();
        for at in (0..600).rev() {
            uses.printed(Timestamp(at), 2);
        }
        assert_eq!(uses.lots.len(), USES_KEPT);
        assert_eq!(uses.after(Timestamp(-1)), Some(1_200), "none is lost");
        assert_eq!(uses.after(Timestamp(598)), Some(2));
        assert_eq!(uses.after(Timestamp(599)), None);
        uses.printed(Timestamp(700), 0);
        assert_eq!(uses.after(Timestamp(650)), Some(0), "it may have been printed with");
        uses.washed(Timestamp(600));
        assert_eq!(uses.after(Timestamp(0)), Some(0));
        uses.washed_now(Timestamp(0));
        assert_eq!(uses.after(Timestamp(0)), None);
        assert_eq!(uses.washes().collect::<Vec<_>>(), [Timestamp(600), Timestamp(0)]);
    }
}
