//! How long an interlock takes: from receiving what changed it until its machine shows it.

use std::collections::HashMap;
use std::sync::Mutex;
use std::sync::atomic::{AtomicUsize, Ordering};
use std::time::{Duration, Instant};

use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::outputs::Wanted;

/// Outputs that changed and are not shown yet.
#[derive(Default)]
pub(super) struct Interlocks {
    changed: Mutex<HashMap<(MachineName, OutputName), (bool, Instant)>>,
    /// How many: almost always none, and links ask at each round.
    waiting: AtomicUsize,
}

impl Interlocks {
    /// What is wanted changed, because of something received `since` ago. What changes again
    /// before it was shown begins anew.
    pub(super) fn changed(&self, before: &Wanted, after: &Wanted, since: Duration) {
        let Some(begun) = Instant::now().checked_sub(since) else { return };
        let mut changed = self.changed.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        for (machine, output) in before.changed(after) {
            let permits = after.permits(machine, output);
            changed.insert((machine.clone(), output.clone()), (permits, begun));
        }
        self.waiting.store(changed.len(), Ordering::Relaxed);
    }

    /// A machine shows what is wanted: how long that took, the first time.
    pub(super) fn shown(
        &self,
        machine: &MachineName,
        output: &OutputName,
        wanted: bool,
    ) -> Option<Duration> {
        if self.waiting.load(Ordering::Relaxed) == 0 {
            return None;
        }
        let mut changed = self.changed.lock().unwrap_or_else(std::sync::PoisonError::into_inner);
        let key = (machine.clone(), output.clone());
        let (_, begun) = *changed.get(&key).filter(|(permits, _)| *permits == wanted)?;
        changed.remove(&key);
        self.waiting.store(changed.len(), Ordering::Relaxed);
        Some(begun.elapsed())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_change_is_measured_once_it_is_shown() {
        let machine = MachineName::new("printer-1").unwrap();
        let output = OutputName::new("permit").unwrap();
        let (refused, mut permitted) = (Wanted::default(), Wanted::default());
        permitted.permit(machine.clone(), output.clone());
        let interlocks = Interlocks::default();
        assert_eq!(interlocks.shown(&machine, &output, false), None, "nothing changed");
        interlocks.changed(&refused, &permitted, Duration::from_millis(7));
        assert_eq!(interlocks.shown(&machine, &output, false), None, "it shows the old one");
        let took = interlocks.shown(&machine, &output, true).unwrap();
        assert!(took >= Duration::from_millis(7));
        assert_eq!(interlocks.shown(&machine, &output, true), None, "once");
    }
}
