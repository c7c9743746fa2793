//! The alarms that stand, for whoever wants to look at any moment: also while the ledger takes no
//! writes and the site task answers nobody.

use std::sync::Arc;

use stencilward_domain::alarm::{ActiveAlarm, AlarmKind};
use stencilward_domain::time::Timestamp;
use tokio::sync::watch;

/// The alarms that stand, the most urgent first.
pub type Standing = Arc<Vec<ActiveAlarm>>;

/// Where the site task shows the alarms that stand.
#[derive(Debug)]
pub struct AlarmBoard(watch::Sender<Standing>);

impl Default for AlarmBoard {
    fn default() -> Self {
        Self(watch::Sender::new(Standing::default()))
    }
}

impl AlarmBoard {
    /// Shows these.
    #[must_use]
    pub fn showing(alarms: Vec<ActiveAlarm>) -> Self {
        Self(watch::Sender::new(Arc::new(alarms)))
    }

    /// Shows these instead of what was shown; the ledger's trouble is over.
    pub fn show(&self, alarms: Vec<ActiveAlarm>) {
        self.0.send_if_modified(|shown| {
            let changed = **shown != alarms;
            if changed {
                *shown = Arc::new(alarms);
            }
            changed
        });
    }

    /// Shows that the ledger takes no writes, beside what was shown last.
    pub fn ledger_troubled(&self, why: &str, since: Timestamp) {
        self.0.send_if_modified(|shown| {
            if is_troubled(shown) {
                return false;
            }
            let mut alarms = vec![ActiveAlarm::ledger_trouble(why.to_owned(), since)];
            alarms.extend(shown.iter().cloned());
            *shown = Arc::new(alarms);
            true
        });
    }

    /// True while it shows that the ledger takes no writes.
    #[must_use]
    pub fn is_troubled(&self) -> bool {
        is_troubled(&self.0.borrow())
    }

    /// The alarms that stand. Costs no more than a pointer.
    #[must_use]
    pub fn standing(&self) -> Standing {
        Arc::clone(&self.0.borrow())
    }

    /// The same, for whoever follows what changes.
    #[must_use]
    pub fn follow(&self) -> watch::Receiver<Standing> {
        self.0.subscribe()
    }
}

fn is_troubled(shown: &Standing) -> bool {
    shown.iter().any(|alarm| alarm.code == AlarmKind::LedgerTrouble.as_str())
}
