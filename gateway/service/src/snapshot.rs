//! What the ledger's first events add up to, kept in a file beside it, so that a start need not read
//! them all again.
//!
//! The ledger alone says what happened. A snapshot that is not there, is damaged, was made by other
//! rules or belongs to another ledger is passed over, and whoever starts from one reads the whole
//! ledger again afterwards ([`Recheck`]).

mod file;
mod recheck;
mod taker;

use std::path::{Path, PathBuf};

use serde::{Deserialize, Serialize};
use stencilward_domain::event::Position;
use stencilward_domain::state::State;
use stencilward_ledger::{Ledger, LedgerError};

use crate::metrics::Count;
use file::Head;
pub(crate) use recheck::{Recheck, Wrong};
pub(crate) use taker::Taker;

/// What all events up to [`State::head`] add up to.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Snapshot {
    pub(crate) state: State,
    pub(crate) counts: Vec<Count>,
}

impl Snapshot {
    /// The file beside this ledger.
    pub(crate) fn file(ledger: &Path) -> PathBuf {
        let mut name = ledger.as_os_str().to_owned();
        name.push(".snapshot");
        name.into()
    }

    /// The one beside this ledger, where it is one of this ledger and of these rules. Tells why
    /// another one is passed over.
    ///
    /// # Errors
    /// When the ledger cannot be read.
    pub(crate) async fn of(
        ledger: &dyn Ledger,
        file: PathBuf,
    ) -> Result<Option<Self>, LedgerError> {
        let shown = file.display().to_string();
        let read = tokio::task::spawn_blocking(move || file::read(&file)).await;
        let why = match read.map_err(LedgerError::storage)? {
            Ok(None) => return Ok(None),
            Ok(Some((head, snapshot))) if head == Head::of(ledger, head.position).await? => {
                return Ok(Some(snapshot));
            }
            Ok(Some(_)) => "it is of another ledger".to_owned(),
            Err(error) => crate::chain(&error),
        };
        tracing::info!(file = shown, why, "the snapshot is passed over: all events are read");
        Ok(None)
    }

    fn position(&self) -> Position {
        self.state.head
    }
}
