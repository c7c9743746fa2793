//! Whoever started from a snapshot reads the ledger again, beside the work: what a snapshot says is
//! believed so that machines need not wait, and for no longer.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Instant;

use stencilward_domain::state::State;
use stencilward_ledger::{Ledger, LedgerError};

use crate::replay::Pages;

/// A check that is due.
pub(crate) struct Recheck {
    ledger: Arc<dyn Ledger>,
    file: PathBuf,
    believed: State,
}

/// A snapshot that was believed, and is wrong.
#[derive(Debug, thiserror::Error)]
#[error(
    "the snapshot {} did not say what the ledger says, and is removed: start again, and all events \
     are read", .0.display()
)]
pub(crate) struct Wrong(PathBuf);

impl Recheck {
    /// Of a start that believed this.
    pub(crate) fn new(ledger: Arc<dyn Ledger>, file: PathBuf, believed: State) -> Self {
        Self { ledger, file, believed }
    }

    /// Reads all that the snapshot is of. What cannot be read now is checked at the next start.
    pub(crate) async fn run(self) -> Result<(), Wrong> {
        match self.read().await {
            Err(error) => tracing::warn!("the snapshot is not checked: {}", crate::chain(&error)),
            Ok(state) if state == self.believed => {
                tracing::info!(events = state.head.0, "the snapshot says what the ledger says");
            }
            Ok(_) => {
                if let Err(error) = std::fs::remove_file(&self.file) {
                    tracing::error!(%error, "the wrong snapshot stays: remove it");
                }
                return Err(Wrong(self.file));
            }
        }
        Ok(())
    }

    /// Half of the time is left to others.
    async fn read(&self) -> Result<State, LedgerError> {
        let mut state = State::default();
        let mut pages = Pages::of(&*self.ledger, state.head, self.believed.head);
        let mut begun = Instant::now();
        while let Some(page) = pages.next().await? {
            page.iter().for_each(|entry| state.apply(&entry.recorded));
            tokio::time::sleep(begun.elapsed()).await;
            begun = Instant::now();
        }
        Ok(state)
    }
}
