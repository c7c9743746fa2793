//! Troubles are counted each, but logged once per burst and source.

use std::collections::HashMap;
use std::sync::Mutex;
use std::time::{Duration, Instant};

use stencilward_adapters::link::Trouble;
use stencilward_domain::names::MachineName;

/// A burst ends when nothing of its kind has happened for this long.
const QUIET: Duration = Duration::from_secs(30);

#[derive(Debug, Clone, Copy)]
struct Burst {
    last: Instant,
    silent: u64,
}

/// The bursts under way.
#[derive(Debug, Default)]
pub(crate) struct Bursts(Mutex<HashMap<(MachineName, Trouble), Burst>>);

impl Bursts {
    /// Logs the first of a burst with what it was; the first after a burst tells how many went
    /// unlogged.
    pub(crate) fn log(&self, machine: &MachineName, kind: Trouble, detail: &str) {
        if let Some(unlogged) = self.first(machine, kind, Instant::now()) {
            tracing::warn!(%machine, kind = kind.as_str(), unlogged_before = unlogged, "{detail}");
        }
    }

    /// The number left unlogged before, when this is the first of a burst.
    fn first(&self, machine: &MachineName, kind: Trouble, now: Instant) -> Option<u64> {
        if kind == Trouble::Unrecorded {
            // Told at most twice between two reloads, and who mends one wants to know the next.
            return Some(0);
        }
        let mut bursts = self.0.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let burst = bursts
            .entry((machine.clone(), kind))
            .or_insert(Burst { last: now.checked_sub(QUIET).unwrap_or(now), silent: 0 });
        let first = now.duration_since(burst.last) >= QUIET;
        burst.last = now;
        if first {
            Some(std::mem::take(&mut burst.silent))
        } else {
            burst.silent += 1;
            None
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_line_for_a_burst_and_the_rest_is_counted() {
        let bursts = Bursts::default();
        let machine = MachineName::new("printer-1").unwrap();
        let start = Instant::now() + QUIET;
        let later = |seconds| start + Duration::from_secs(seconds);
        assert_eq!(bursts.first(&machine, Trouble::Garbled, start), Some(0));
        assert_eq!(bursts.first(&machine, Trouble::Garbled, later(20)), None);
        assert_eq!(bursts.first(&machine, Trouble::Garbled, later(40)), None);
        assert_eq!(bursts.first(&machine, Trouble::Missing, later(40)), Some(0));
        assert_eq!(bursts.first(&machine, Trouble::Garbled, later(71)), Some(2));
    }
}
