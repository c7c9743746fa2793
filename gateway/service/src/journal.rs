//! From recorded events to the ledger: batches, versions, and trying again.

use std::collections::HashMap;
use std::sync::Arc;
use std::time::{Duration, Instant, SystemTime};

use stencilward_domain::event::{Event, Position, Recorded, Stream};
use stencilward_ledger::{Append, BatchId, Ledger, LedgerError, Owed, Refused};

use crate::metrics::Metrics;
use crate::snapshot::Wrong;

/// Why an event will never be durable.
#[derive(Debug, thiserror::Error)]
pub(crate) enum JournalError {
    /// Somebody else wrote to the ledger, or its order differs from ours.
    #[error("another writer is at work on this ledger: stop it, then start this gateway again")]
    NotAlone(#[source] Refused),
    /// The ledger cannot keep an event.
    #[error("the ledger cannot keep an event of this gateway: please report")]
    Rejected(#[source] Refused),
    /// The ledger gave other positions than the site had given.
    #[error("the ledger put an event at position {there}, the site at {here}: start again")]
    OutOfStep {
        /// By the site.
        here: u64,
        /// By the ledger.
        there: u64,
    },
    /// They would follow from a state that is not the ledger's.
    #[error(transparent)]
    Misled(#[from] Wrong),
    /// The ledger takes no writes.
    #[error("the ledger takes no writes")]
    Ledger(#[source] LedgerError),
}

/// The only writer of the ledger.
pub(crate) struct Journal {
    ledger: Arc<dyn Ledger>,
    metrics: Arc<Metrics>,
    versions: HashMap<Stream, u64>,
    session: u64,
    batches: u64,
}

impl Journal {
    /// A journal that goes on from these versions.
    pub(crate) fn new(
        ledger: Arc<dyn Ledger>,
        metrics: Arc<Metrics>,
        versions: HashMap<Stream, u64>,
    ) -> Self {
        let since = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
        let session =
            u64::try_from(since.as_nanos()).unwrap_or_default() ^ u64::from(std::process::id());
        Self { ledger, metrics, versions, session, batches: 0 }
    }

    /// The event at this place, as the ledger has it; none when it has none there.
    pub(crate) async fn event(&self, at: Position) -> Result<Option<Recorded>, LedgerError> {
        let before = Position(at.0.saturating_sub(1));
        let found = self.ledger.read(before, 1).await?.pop();
        Ok(found.map(|entry| entry.recorded).filter(|recorded| recorded.position == at))
    }

    /// The round of these events: one append for each run of events of one stream.
    pub(crate) fn prepare(&mut self, events: Vec<Recorded>) -> Round {
        let first = events.first().map_or(Position(0), |recorded| recorded.position);
        let mut appends: Vec<Append> = Vec::new();
        for Recorded { fact, .. } in events {
            let stream = fact.event.stream();
            match appends.last_mut().filter(|append| append.stream == stream) {
                Some(append) => append.facts.push(fact),
                None => {
                    self.batches += 1;
                    let batch = batch_id(self.session, self.batches);
                    appends.push(Append { stream, expected: 0, batch, facts: vec![fact] });
                }
            }
        }
        for append in &mut appends {
            let version = self.versions.entry(append.stream.clone()).or_default();
            append.expected = *version;
            *version += append.facts.len() as u64;
        }
        Round { first, appends }
    }

    /// Makes a round and what is owed durable, or says why that failed. The very same can be
    /// handed over again.
    pub(crate) async fn write(&self, round: &Round, owed: &[Owed]) -> Result<(), JournalError> {
        let begun = Instant::now();
        let results = self.ledger.append_owing(&round.appends, owed).await;
        let results = results.map_err(JournalError::Ledger)?;
        let mut expected = round.first.0;
        for (append, result) in round.appends.iter().zip(results) {
            let appended = result.map_err(|refused| match refused {
                Refused::Conflict { .. } => JournalError::NotAlone(refused),
                refused => JournalError::Rejected(refused),
            })?;
            if appended.first.0 != expected {
                return Err(JournalError::OutOfStep { here: expected, there: appended.first.0 });
            }
            expected += append.facts.len() as u64;
        }
        self.metrics.ledger_wrote(begun.elapsed(), round.events().count());
        Ok(())
    }
}

/// Events that become durable together.
pub(crate) struct Round {
    first: Position,
    appends: Vec<Append>,
}

impl Round {
    /// In their order.
    pub(crate) fn events(&self) -> impl Iterator<Item = &Event> + Clone {
        self.appends.iter().flat_map(|append| &append.facts).map(|fact| &fact.event)
    }
}

fn batch_id(session: u64, batch: u64) -> BatchId {
    let mut id = [0; 16];
    let (front, back) = id.split_at_mut(8);
    front.copy_from_slice(&session.to_be_bytes());
    back.copy_from_slice(&batch.to_be_bytes());
    BatchId(id)
}

/// Waits between attempts to write.
pub(crate) fn retry_wait(attempt: u32) -> Duration {
    Duration::from_millis(100 << attempt.min(6))
}
