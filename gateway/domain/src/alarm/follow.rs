//! Follows a condition with an on-delay and an off-delay. Live only: after a restart a delay that
//! was running begins anew.

use std::time::Duration;

use crate::time::Timestamp;

/// A condition as it is after its delays.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Followed {
    holds: bool,
    /// Since when it is otherwise, while that is not believed yet.
    otherwise: Option<Timestamp>,
}

impl Followed {
    /// A condition that holds, or does not, for as long as anybody knows.
    #[must_use]
    pub fn new(holds: bool) -> Self {
        Self { holds, otherwise: None }
    }

    /// True while it is believed to hold.
    #[must_use]
    pub fn holds(&self) -> bool {
        self.holds
    }

    /// True when there is nothing to remember: it does not hold, and nothing says otherwise.
    #[must_use]
    pub fn is_idle(&self) -> bool {
        !self.holds && self.otherwise.is_none()
    }

    /// Takes in how it is now. A clock that was put back ends a delay early, never late.
    pub fn follow(&mut self, now_holds: bool, now: Timestamp, on: Duration, off: Duration) -> bool {
        if now_holds == self.holds {
            self.otherwise = None;
            return self.holds;
        }
        let since = *self.otherwise.get_or_insert(now);
        if now.apart(since) >= if now_holds { on } else { off } {
            *self = Self::new(now_holds);
        }
        self.holds
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const ON: Duration = Duration::from_secs(5);
    const OFF: Duration = Duration::from_secs(3);

    fn followed(story: &[(i64, bool)]) -> Vec<bool> {
        let mut followed = Followed::new(false);
        let at = |seconds| Timestamp(seconds * 1_000);
        story.iter().map(|(when, holds)| followed.follow(*holds, at(*when), ON, OFF)).collect()
    }

    #[test]
    fn a_delay_must_pass_whole() {
        let story = [(0, true), (4, true), (5, true), (6, false), (8, false), (9, false)];
        assert_eq!(followed(&story), [false, false, true, true, true, false]);
    }

    #[test]
    fn a_delay_begins_anew_when_it_was_broken() {
        let story = [(0, true), (4, false), (5, true), (9, true), (10, true)];
        assert_eq!(followed(&story), [false, false, false, false, true]);
    }

    #[test]
    fn no_clock_that_was_put_back_holds_an_alarm_up() {
        assert_eq!(followed(&[(10_000, true), (0, true)]), [false, true]);
    }
}
