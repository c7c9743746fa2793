//! The contract again, kept by a ledger that moves its events to parts as soon as they are there.

use std::collections::{BTreeSet, HashMap};
use std::path::PathBuf;
use std::sync::Arc;

use async_trait::async_trait;
use stencilward_domain::event::{Position, Stream};
use tokio::sync::watch;

use super::Kept;
use crate::contract::{Append, Appended, Due, Entry, Ledger, Owed, Row};
use crate::error::{LedgerError, Refused};
use crate::sqlite::part::Sizes;
use crate::sqlite::{ArchiveError, SqliteLedger};
use crate::suite::Place;

const SIZES: Sizes = Sizes { block: 3, part: 50 };

/// Events from which on only whole parts are made: a test has many more.
const MANY: u64 = 40;

struct Archived {
    ledger: SqliteLedger,
    folder: PathBuf,
}

impl Archived {
    /// Leaves none, one or two events in the ledger's own file.
    async fn archive(&self) {
        let head = self.ledger.head().borrow().0;
        let end = self.ledger.parts().await.unwrap().last().map_or(0, |part| part.last.0);
        if head > MANY && head - end < SIZES.part {
            return;
        }
        let last = Position(head - head % 3);
        loop {
            match self.ledger.archive_by(last, &self.folder, SIZES).await {
                Ok(Some(_)) => {}
                Ok(None) | Err(ArchiveError::Ledger(LedgerError::Closed)) => return,
                Err(error) => unreachable!("{error}"),
            }
        }
    }
}

#[async_trait]
impl Ledger for Archived {
    async fn append_owing(
        &self,
        appends: &[Append],
        owed: &[Owed],
    ) -> Result<Vec<Result<Appended, Refused>>, LedgerError> {
        let answers = self.ledger.append_owing(appends, owed).await;
        self.archive().await;
        answers
    }

    async fn due(&self, to: &str, after: u64, limit: usize) -> Result<Vec<Due>, LedgerError> {
        self.ledger.due(to, after, limit).await
    }

    async fn delivered(&self, numbers: Vec<u64>) -> Result<(), LedgerError> {
        self.ledger.delivered(numbers).await
    }

    async fn owe_only(&self, to: BTreeSet<String>) -> Result<BTreeSet<String>, LedgerError> {
        self.ledger.owe_only(to).await
    }

    fn owing(&self) -> watch::Receiver<u64> {
        self.ledger.owing()
    }

    async fn read(&self, after: Position, limit: usize) -> Result<Vec<Entry>, LedgerError> {
        self.ledger.read(after, limit).await
    }

    async fn read_stream(
        &self,
        stream: &Stream,
        after: u64,
        limit: usize,
    ) -> Result<Vec<Entry>, LedgerError> {
        self.ledger.read_stream(stream, after, limit).await
    }

    async fn read_stream_back(
        &self,
        stream: &Stream,
        limit: usize,
    ) -> Result<Vec<Entry>, LedgerError> {
        self.ledger.read_stream_back(stream, limit).await
    }

    async fn rows(&self, after: Position, limit: usize) -> Result<Vec<Row>, LedgerError> {
        self.ledger.rows(after, limit).await
    }

    async fn versions(&self) -> Result<HashMap<Stream, u64>, LedgerError> {
        self.ledger.versions().await
    }

    fn head(&self) -> watch::Receiver<Position> {
        self.ledger.head()
    }

    async fn close(&self) {
        self.ledger.close().await;
    }
}

struct Shelved(Kept);

#[async_trait]
impl Place for Shelved {
    async fn open(&self) -> Arc<dyn Ledger> {
        let folder = self.0.0.path().join("ledger.archive");
        Arc::new(Archived { ledger: self.0.open(), folder })
    }
}

crate::contract_tests!(Shelved(Kept::new()));
