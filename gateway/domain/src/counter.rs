//! Arithmetic of cumulative counters: what follows from two reads of a total that wraps,
//! restarts, freezes, glitches, or is read twice.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::event::Advance;
use crate::signal::Width;

/// Strokes allowed beyond what the time between two reads explains: reads are never exactly
/// as far apart as the clock says.
pub const SLACK: u64 = 2;

/// Reads in a row that make a doubtful value believed.
pub const CONFIRMING_READS: u8 = 3;

/// The value that counts, and the one before a restart that may yet prove a misread.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Known {
    /// The last value that counts.
    pub raw: u64,
    /// Where the counter wraps.
    pub width: Width,
    /// Before the last restart: the value, and what was booked since.
    pub before_restart: Option<BeforeRestart>,
}

/// What a restart left behind.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct BeforeRestart {
    /// The value that counted then.
    pub raw: u64,
    /// Strokes booked since.
    pub booked: u64,
}

/// What follows from a read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Nothing: the same value again.
    Same,
    /// So many strokes were done. Zero after a restart at zero.
    Advanced {
        /// How many.
        count: u64,
        /// How that follows.
        advance: Advance,
    },
    /// More than the machine could have done: nothing is booked.
    Doubtful,
}

/// Strokes that a machine can do in `span` when one takes at least `fastest_cycle`, plus
/// [`SLACK`]. Without a cycle time anything is possible.
#[must_use]
pub fn possible(span: Duration, fastest_cycle: Duration) -> u64 {
    let cycle = fastest_cycle.as_millis();
    if cycle == 0 {
        return u64::MAX;
    }
    u64::try_from(span.as_millis() / cycle).unwrap_or(u64::MAX).saturating_add(SLACK)
}

impl Step {
    /// True when the counter has gone on from its known value, if need be past its largest.
    #[must_use]
    pub fn goes_on(&self) -> bool {
        let onward = |advance| matches!(advance, Advance::Difference | Advance::Wrapped);
        matches!(self, Self::Advanced { advance, .. } if onward(*advance))
    }
}

impl Known {
    /// A counter first seen at `raw`.
    #[must_use]
    pub fn first(raw: u64, width: Width) -> Self {
        Self { raw, width, before_restart: None }
    }

    /// What follows when the counter now reads `raw` and at most `possible` strokes were possible,
    /// or `past_zero` where that explains it only by way of zero.
    ///
    /// A value that went down is a wrap where that explains it, else a restart where that does.
    #[must_use]
    pub fn step(&self, raw: u64, possible: u64, past_zero: u64) -> Step {
        if raw == self.raw {
            return Step::Same;
        }
        let largest = self.width.largest();
        if raw > largest {
            return Step::Doubtful;
        }
        let believe = |count: u64, advance| {
            let onward = matches!(advance, Advance::Difference | Advance::Recovered);
            let most = if onward { possible } else { past_zero };
            (count <= most).then_some(Step::Advanced { count, advance })
        };
        let forward = if raw > self.raw {
            believe(raw - self.raw, Advance::Difference)
        } else {
            largest.checked_sub(self.raw).and_then(|to_largest| {
                let across = to_largest.saturating_add(1).saturating_add(raw);
                believe(across, Advance::Wrapped)
            })
        };
        forward
            .or_else(|| believe(self.missed_by_misread(raw)?, Advance::Recovered))
            .or_else(|| if raw < self.raw { believe(raw, Advance::Restarted) } else { None })
            .unwrap_or(Step::Doubtful)
    }

    /// Strokes not yet booked if the restart was a misread and the counter really went on.
    fn missed_by_misread(&self, raw: u64) -> Option<u64> {
        let before = self.before_restart?;
        raw.checked_sub(before.raw)?.checked_sub(before.booked)
    }

    /// The counter after `raw` was taken to count, `count` strokes having been booked.
    #[must_use]
    pub fn after(&self, raw: u64, width: Width, count: u64, advance: Advance) -> Self {
        let before_restart = match advance {
            Advance::Restarted => Some(BeforeRestart { raw: self.raw, booked: count }),
            Advance::Difference => self.before_restart.map(|before| BeforeRestart {
                booked: before.booked.saturating_add(count),
                ..before
            }),
            Advance::Wrapped | Advance::Recovered | Advance::Jumped => None,
        };
        Self { raw, width, before_restart }
    }
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn known(raw: u64) -> Known {
        Known::first(raw, Width::Bits16)
    }

    fn advanced(count: u64, advance: Advance) -> Step {
        Step::Advanced { count, advance }
    }

    #[test]
    fn each_kind_of_step() {
        let cases = [
            (100, 100, 5, Step::Same),
            (100, 103, 5, advanced(3, Advance::Difference)),
            (100, 106, 5, Step::Doubtful),
            (65_534, 2, 5, advanced(4, Advance::Wrapped)),
            (65_534, 4, 5, advanced(4, Advance::Restarted)),
            (60_000, 0, 5, advanced(0, Advance::Restarted)),
            (60_000, 4, 5, advanced(4, Advance::Restarted)),
            (60_000, 6, 5, Step::Doubtful),
            (100, 65_536, u64::MAX, Step::Doubtful),
        ];
        for (last, raw, possible, expected) in cases {
            assert_eq!(known(last).step(raw, possible, possible), expected, "{last} then {raw}");
        }
    }

    #[test]
    fn a_wrap_at_each_width_is_the_difference_across_it() {
        for width in [Width::Bits16, Width::Bits32, Width::Bits64] {
            let last = Known::first(width.largest() - 1, width);
            assert_eq!(last.step(1, 10, 10), advanced(3, Advance::Wrapped), "{width:?}");
            assert_eq!(last.step(width.largest(), 10, 10), advanced(1, Advance::Difference));
        }
    }

    #[test]
    fn a_misread_as_zero_books_nothing_twice() {
        let last = known(1_000);
        let misread = last.after(0, Width::Bits16, 0, Advance::Restarted);
        assert_eq!(misread.step(1_001, 5, 5), advanced(1, Advance::Recovered));
        let restarted = last.after(3, Width::Bits16, 3, Advance::Restarted);
        let going_on = restarted.after(5, Width::Bits16, 2, Advance::Difference);
        assert_eq!(going_on.step(1_007, 5, 5), advanced(2, Advance::Recovered));
        assert_eq!(going_on.step(1_004, 5, 5), Step::Doubtful);
    }

    #[test]
    fn messages_that_waited_explain_no_way_past_zero() {
        assert_eq!(known(50_000).step(50_400, 500, 2), advanced(400, Advance::Difference));
        assert_eq!(known(65_400).step(100, 500, 2), Step::Doubtful);
        assert_eq!(known(5_001).step(5_000, 9_000, 2), Step::Doubtful);
    }

    #[test]
    fn what_is_possible_follows_from_time() {
        let seconds = Duration::from_secs;
        assert_eq!(possible(seconds(60), seconds(5)), 12 + SLACK);
        assert_eq!(possible(seconds(1), seconds(5)), SLACK);
        assert_eq!(possible(seconds(1), Duration::ZERO), u64::MAX);
    }

    /// A slow oracle: turns the counter stroke by stroke until it shows the value.
    fn turns_until(width: Width, mut raw: u64, shown: u64, most: u64) -> Option<u64> {
        for count in 0..=most {
            if raw == shown {
                return Some(count);
            }
            raw = if raw == width.largest() { 0 } else { raw + 1 };
        }
        None
    }

    proptest! {
        #[test]
        fn a_counter_that_only_turns_books_what_it_turned(
            start in any::<u64>(), turned in 0u64..300, spare in 0u64..300,
            width in prop_oneof![Just(Width::Bits16), Just(Width::Bits32), Just(Width::Bits64)],
        ) {
            let start = if width == Width::Bits64 { start } else { start % (width.largest() + 1) };
            let shown = if width == Width::Bits64 {
                start.wrapping_add(turned)
            } else {
                (start + turned) % (width.largest() + 1)
            };
            let booked = match Known::first(start, width).step(shown, turned + spare, turned + spare) {
                Step::Same => 0,
                Step::Advanced { count, .. } => count,
                Step::Doubtful => return Err(TestCaseError::fail("doubted a real turn")),
            };
            prop_assert_eq!(Some(booked), turns_until(width, start, shown, 600));
        }

        #[test]
        fn never_more_than_possible(last in 0u64..=65_535, raw in any::<u64>(), most in any::<u64>()) {
            if let Step::Advanced { count, .. } = known(last).step(raw, most, most) {
                prop_assert!(count <= most);
            }
        }
    }
}
