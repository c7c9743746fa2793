//! Asking an edge node to be born again, and again, but never as fast as it answers.

use std::time::Duration;

/// Shortest time between two requests to one edge node.
const BETWEEN: Duration = Duration::from_secs(5);
/// Longest time between two requests that stay without an answer.
const LONGEST: Duration = Duration::from_secs(60);
/// Beyond the reorder time-out, how long an answer may take.
const PATIENCE: Duration = Duration::from_secs(5);

/// What is asked of an edge node.
#[derive(Debug, Default)]
pub(super) struct Asking {
    last: Option<Duration>,
    open: Option<Open>,
}

#[derive(Debug, Clone, Copy)]
struct Open {
    again: Duration,
    step: Duration,
    /// When it counts as gone; none once it does.
    gone: Option<Duration>,
}

/// What is due.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Due {
    pub(super) ask: bool,
    pub(super) gone: bool,
}

impl Asking {
    /// A birth is needed. True when it is to be asked for at once.
    pub(super) fn want(&mut self, clock: Duration, reorder: Duration) -> bool {
        if self.open.is_some() {
            return false;
        }
        let earliest = self.last.map_or(clock, |last| last + BETWEEN);
        let gone = Some(clock.max(earliest) + reorder + PATIENCE);
        self.open = Some(Open { again: earliest, step: BETWEEN, gone });
        self.due(clock).ask
    }

    pub(super) fn due(&mut self, clock: Duration) -> Due {
        let Some(open) = &mut self.open else {
            return Due { ask: false, gone: false };
        };
        let ask = clock >= open.again;
        if ask {
            self.last = Some(clock);
            open.step = (open.step * 2).min(LONGEST);
            open.again = clock + open.step;
        }
        let gone = open.gone.take_if(|gone| clock >= *gone).is_some();
        Due { ask, gone }
    }

    pub(super) fn answered(&mut self) {
        self.open = None;
    }

    /// A new connection: nothing was asked over it.
    pub(super) fn forget(&mut self) {
        *self = Self::default();
    }

    pub(super) fn deadline(&self) -> Option<Duration> {
        let open = self.open?;
        Some(open.gone.map_or(open.again, |gone| gone.min(open.again)))
    }
}
