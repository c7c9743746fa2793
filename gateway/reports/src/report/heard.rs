//! An event as the tables hear it: with what was before it, and what it refers to.

use stencilward_domain::event::{Event, Position, Recorded};
use stencilward_domain::state::State;
use stencilward_domain::time::Timestamp;

use super::figure::Mark;
use crate::forecast::Day;

/// An event that is about to change the state.
pub(super) struct Heard<'a> {
    pub(super) recorded: &'a Recorded,
    /// The event that it corrects, or whose strokes it assigns.
    pub(super) original: Option<&'a Recorded>,
    /// The state before it.
    pub(super) before: &'a State,
    /// When it happened: by a clock that never runs backwards, unless it was told late.
    pub(super) time: Timestamp,
    /// True when it counts for flows.
    pub(super) within: bool,
    /// Its position, where figures are to say what they come from.
    pub(super) mark: Mark,
}

impl Heard<'_> {
    pub(super) fn event(&self) -> &Event {
        &self.recorded.fact.event
    }

    pub(super) fn day(&self) -> Day {
        day_of(self.time)
    }

    /// The day on which what the event tells of was done: a correction tells of an earlier one.
    pub(super) fn day_made(&self) -> Day {
        match (self.event(), self.original) {
            (Event::StrokesAssigned { until, .. }, _) => day_of(*until),
            (_, Some(original)) => match &original.fact.event {
                Event::StrokesAssigned { until, .. } => day_of(*until),
                _ => day_of(original.fact.time()),
            },
            _ => self.day(),
        }
    }
}

/// The day of an instant, UTC.
pub(super) fn day_of(time: Timestamp) -> Day {
    let days = time.0.div_euclid(86_400_000);
    Day(i32::try_from(days).unwrap_or(if days < 0 { i32::MIN } else { i32::MAX }))
}

/// The event that a correcting one refers to, by its position: whoever feeds a
/// [`Review`](super::Review) reads it from the ledger and hands it over beside the correction.
#[must_use]
pub fn refers_to(event: &Event) -> Option<Position> {
    match event {
        Event::StrokesAssigned { of, .. } | Event::StrokesWrittenOff { of, .. } => Some(*of),
        Event::StrokesCorrected { corrects, .. } | Event::WashAnnulled { corrects, .. } => {
            Some(*corrects)
        }
        _ => None,
    }
}
