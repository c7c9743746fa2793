//! When the next round is due.

use std::time::Duration;

use tokio::time::{Instant, sleep_until};

/// What a timer can tell apart: a round that is due sooner is due now.
const RESOLUTION: Duration = Duration::from_millis(1);

/// Rounds at a steady pace. One that takes longer than the time between them skips the next ones.
#[derive(Debug)]
pub(crate) struct Pace {
    every: Duration,
    next: Instant,
}

impl Pace {
    /// The first round is due at once.
    pub(crate) fn new(every: Duration) -> Self {
        Self { every, next: Instant::now() }
    }

    /// Now, when a round is due; then the next one is reckoned from it.
    pub(crate) fn take(&mut self) -> Option<Instant> {
        let now = Instant::now();
        let due = (self.next <= now + RESOLUTION).then_some(now);
        if due.is_some() {
            self.next = after(self.next, self.every, now);
        }
        due
    }

    /// Waits until a round is due.
    pub(crate) async fn due(&self) {
        sleep_until(self.next).await;
    }
}

/// When the round after the one of `place` is due: at its own place, the first that lies ahead.
fn after(place: Instant, every: Duration, now: Instant) -> Instant {
    let next = place + every;
    if next > now {
        return next;
    }
    let behind = now.duration_since(next).as_nanos();
    let skipped = behind / every.as_nanos().max(1) + 1;
    next + every * u32::try_from(skipped).unwrap_or(u32::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn rounds_keep_their_places_in_time() {
        let start = Instant::now();
        let at = |millis| start + Duration::from_millis(millis);
        let every = Duration::from_millis(100);
        assert_eq!(after(at(0), every, at(1)), at(100));
        assert_eq!(after(at(100), every, at(199)), at(200));
        assert_eq!(after(at(100), every, at(200)), at(300), "two at once are one");
        assert_eq!(after(at(100), every, at(450)), at(500), "those between are skipped");
    }

    #[tokio::test]
    async fn a_pace_finer_than_the_timer_waits_for_nothing() {
        let mut pace = Pace::new(Duration::from_micros(1));
        assert!((0..100).all(|_| pace.take().is_some()));
    }

    #[tokio::test]
    async fn a_round_is_due_once() {
        let mut pace = Pace::new(Duration::from_secs(1));
        assert!(pace.take().is_some() && pace.take().is_none());
        pace.due().await;
        assert!(pace.take().is_some(), "its time has come");
    }
}
