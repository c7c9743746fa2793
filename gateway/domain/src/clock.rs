//! A machine's clock beside the gateway's: how far it is off, as long as that can be believed.
//!
//! A machine that cannot reach anybody keeps its messages and sends them later, in order. How much
//! later is only known where its clock is: from messages that came at once. Those that came from a
//! backlog lag less and less behind their own time; those that come at once lag alike.

use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::time::Timestamp;

/// Lags that differ by no more are alike; a clock that is off by no more agrees with the
/// gateway's: an estimate of our own, without a source.
pub const ALIKE: Duration = Duration::from_secs(60);

/// How long lags must be alike until they are what the clock is off. A backlog that is sent at
/// twice the pace of its making, or faster, is never alike for so long.
pub const PROVEN: Duration = Duration::from_secs(120);

/// What is known of a machine's clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Clock {
    /// The gateway's time less the machine's, ms; none while it is not known.
    off: Option<i64>,
    /// The latest time the machine told.
    told: Option<Timestamp>,
    /// Messages with lags that are alike.
    spell: Option<Spell>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
struct Spell {
    since: Timestamp,
    least: i64,
    most: i64,
}

/// What a machine's time means on the gateway's clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Reckoned {
    /// Then it happened.
    At(Timestamp),
    /// Nobody knows yet how far the machine's clock is off.
    Unknown,
    /// It lies ahead: the machine's clock was put forward, or the gateway's back.
    Ahead,
    /// It lies before what the machine told last, whose messages come in order: its clock was put
    /// back.
    Back,
}

impl Clock {
    /// What a machine's time means, in a message that came at `at`.
    #[must_use]
    pub fn reckon(&self, at: Timestamp, machine_time: Timestamp) -> Reckoned {
        let Some(off) = self.off else { return Reckoned::Unknown };
        if self.told.is_some_and(|told| machine_time < told.minus(ALIKE)) {
            return Reckoned::Back;
        }
        let then = Timestamp(machine_time.0.saturating_add(off));
        if then > at.plus(ALIKE) { Reckoned::Ahead } else { Reckoned::At(then.min(at)) }
    }

    /// True when the machine, whose messages come in order, has told all it has to tell of the time
    /// until `then`.
    #[must_use]
    pub fn has_told(&self, then: Timestamp) -> bool {
        let told = self.off.zip(self.told);
        told.is_some_and(|(off, told)| told.0.saturating_add(off) >= then.0)
    }

    /// Learns from a message that came at `at`. A clock that was changed begins anew.
    pub fn follow(&mut self, at: Timestamp, machine_time: Timestamp) {
        if matches!(self.reckon(at, machine_time), Reckoned::Ahead | Reckoned::Back) {
            *self = Self::default();
        }
        self.told = self.told.max(Some(machine_time));
        let lag = at.0.saturating_sub(machine_time.0);
        let alike = |apart: u64| Duration::from_millis(apart) <= ALIKE;
        match self.off {
            None if alike(lag.unsigned_abs()) => self.off = Some(lag),
            off => self.off = off.map(|off| off.min(lag)),
        }
        let anew = Spell { since: at, least: lag, most: lag };
        let spell = self.spell.map_or(anew, |spell| Spell {
            since: spell.since,
            least: spell.least.min(lag),
            most: spell.most.max(lag),
        });
        self.spell = Some(spell);
        if !alike(spell.least.abs_diff(spell.most)) {
            self.spell = Some(anew);
        } else if at.since(spell.since) >= PROVEN {
            self.off = Some(spell.least);
            self.spell = Some(anew);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Messages by when they came and the machine's time in them, s.
    fn after(messages: &[(i64, i64)]) -> Clock {
        let mut clock = Clock::default();
        for (at, told) in messages {
            clock.follow(seconds(*at), seconds(*told));
        }
        clock
    }

    fn seconds(count: i64) -> Timestamp {
        Timestamp(count * 1_000)
    }

    fn reckoned(clock: Clock, at: i64, told: i64) -> Reckoned {
        clock.reckon(seconds(at), seconds(told))
    }

    #[test]
    fn a_clock_that_agrees_is_believed_at_once() {
        let clock = after(&[(10_000, 9_998)]);
        assert_eq!(reckoned(clock, 13_600, 10_000), Reckoned::At(seconds(10_002)));
    }

    #[test]
    fn a_clock_that_is_off_is_believed_once_its_lags_were_alike_for_a_while() {
        let off = [(10_000, 6_400), (10_060, 6_459)];
        assert_eq!(reckoned(after(&off), 10_100, 6_500), Reckoned::Unknown);
        let clock = after(&[&off[..], &[(10_130, 6_529)]].concat());
        assert_eq!(reckoned(clock, 20_000, 6_600), Reckoned::At(seconds(10_200)));
    }

    #[test]
    fn a_backlog_as_the_first_thing_tells_nothing_until_it_is_over() {
        let backlog: Vec<_> = (0..60).map(|n| (10_000 + n * 4, 6_000 + n * 71)).collect();
        assert_eq!(reckoned(after(&backlog[..50]), 10_250, 9_600), Reckoned::Unknown);
        assert_ne!(reckoned(after(&backlog), 10_250, 10_200), Reckoned::Unknown, "it agrees now");
    }

    #[test]
    fn a_backlog_later_on_does_not_move_the_clock() {
        let mut messages = vec![(6_000, 6_000)];
        messages.extend((0..500).map(|n| (10_000 + n, 6_010 + n * 8)));
        assert_eq!(reckoned(after(&messages), 10_600, 10_010), Reckoned::At(seconds(10_010)));
    }

    #[test]
    fn a_clock_put_forward_or_back_is_not_believed_until_it_is_known_anew() {
        let clock = after(&[(10_000, 10_000)]);
        assert_eq!(reckoned(clock, 10_100, 13_700), Reckoned::Ahead);
        assert_eq!(reckoned(clock, 10_100, 6_500), Reckoned::Back);
        for wrong in [13_700, 6_500] {
            let mut clock = clock;
            clock.follow(seconds(10_100), seconds(wrong));
            assert_eq!(reckoned(clock, 10_110, wrong + 10), Reckoned::Unknown);
            clock.follow(seconds(10_230), seconds(wrong + 130));
            assert_eq!(reckoned(clock, 10_240, wrong + 140), Reckoned::At(seconds(10_240)));
        }
    }

    #[test]
    fn slow_drift_is_followed() {
        let mut clock = Clock::default();
        for n in 0..2_000 {
            let at = n * 100;
            assert_ne!(reckoned(clock, at, at - n), Reckoned::Ahead);
            clock.follow(seconds(at), seconds(at - n));
        }
        let Reckoned::At(then) = reckoned(clock, 200_000, 198_000) else { panic!("unknown") };
        assert!(seconds(200_000).since(then) <= Duration::from_secs(10), "{then:?}");
    }
}
