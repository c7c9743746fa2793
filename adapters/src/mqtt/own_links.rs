//! Machines that tell by themselves, with birth and death messages, whether they are there.

use std::collections::BTreeMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

use stencilward_domain::names::MachineName;
use stencilward_domain::signal::{Said, Signal};

/// What each of them said last, and what was last told of it.
#[derive(Debug, Default)]
pub(super) struct OwnLinks(Mutex<BTreeMap<MachineName, Own>>);

#[derive(Debug, Default)]
struct Own {
    said_up: Option<bool>,
    told_up: Option<bool>,
}

impl OwnLinks {
    /// Takes in a signal; false when it tells of a link and is no news. A machine may say again
    /// and again that it is there: that is no new link each time.
    pub(super) fn is_news(&self, signal: &Signal) -> bool {
        let up = match signal.said {
            Said::LinkUp { .. } => true,
            Said::LinkLost { .. } => false,
            _ => return true,
        };
        let mut links = self.lock();
        let own = links.entry(signal.machine.clone()).or_default();
        own.said_up = Some(up);
        own.told_up.replace(up) != Some(up)
    }

    /// The broker is there again. Gives the machines that are there, too: those that had said so,
    /// if the broker has kept whatever they said since.
    pub(super) fn again(&self, resumed: bool) -> Vec<MachineName> {
        let mut links = self.lock();
        let mut there = Vec::new();
        for (machine, own) in links.iter_mut() {
            if !resumed {
                own.said_up = None;
            } else if own.said_up == Some(true) {
                own.told_up = Some(true);
                there.push(machine.clone());
            }
        }
        there
    }

    /// The broker is gone, and with it all of them.
    pub(super) fn lost(&self) {
        for own in self.lock().values_mut() {
            own.told_up = Some(false);
        }
    }

    fn lock(&self) -> MutexGuard<'_, BTreeMap<MachineName, Own>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}
