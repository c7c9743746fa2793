//! The writer thread: takes what waits, makes it durable in one transaction, then answers.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use rusqlite::Connection;
use stencilward_domain::event::Position;
use tokio::sync::{mpsc, oneshot, watch};

use super::OpenError;
use super::source::Shelf;
use super::transact::{self, Answers, Versions};
use super::{owed, parts};
use crate::body::Written;
use crate::contract::Owed;
use crate::error::{LedgerError, Refused};
use crate::part::Part;

/// Facts at which a transaction takes no further call.
const LARGE_TRANSACTION: usize = 4_096;

/// Calls taken into one transaction at the most.
const MOST_CALLS: usize = 1_024;

/// One call's appends, and where its answer goes.
pub(super) struct Call {
    pub(super) written: Vec<Result<Written, Refused>>,
    pub(super) owed: Vec<Owed>,
    pub(super) done: oneshot::Sender<Result<Answers, LedgerError>>,
}

impl Call {
    fn facts(&self) -> usize {
        let kept = self.written.iter().flatten();
        kept.map(Written::facts).sum()
    }
}

/// What the writer is asked to do.
pub(super) enum Job {
    /// Make these appends durable.
    Append(Call),
    /// Forget these messages, which have been delivered.
    Delivered { numbers: Vec<u64>, done: oneshot::Sender<Result<(), LedgerError>> },
    /// Forget what is owed to anybody but these.
    OweOnly { to: BTreeSet<String>, done: oneshot::Sender<Result<BTreeSet<String>, LedgerError>> },
    /// Note that this part's events are read from it. The answer: whether it fits.
    Record { part: Part, done: oneshot::Sender<Result<bool, LedgerError>> },
    /// Take out so many rows of events that lie in parts. The answer: how many there were.
    Sweep { rows: u64, done: oneshot::Sender<Result<u64, LedgerError>> },
    /// Give room back to the disk.
    Shrink { done: oneshot::Sender<Result<(), LedgerError>> },
    /// Let the file grow no further.
    #[cfg(any(test, feature = "suite"))]
    Limit { pages: u32, done: oneshot::Sender<Result<(), LedgerError>> },
}

pub(super) struct Writer {
    connection: Connection,
    shelf: Shelf,
    versions: Versions,
    head: watch::Sender<Position>,
    owing: watch::Sender<u64>,
    commits: Arc<AtomicU64>,
}

impl Writer {
    pub(super) fn new(
        connection: Connection,
        shelf: Shelf,
        commits: Arc<AtomicU64>,
    ) -> Result<(Self, watch::Receiver<Position>, watch::Receiver<u64>), OpenError> {
        let end = transact::end(&connection)?;
        let (head, shown) = watch::channel(Position(end.position));
        let (owing, owing_shown) = watch::channel(0);
        let versions = Versions::default();
        let writer = Self { connection, shelf, versions, head, owing, commits };
        Ok((writer, shown, owing_shown))
    }

    /// Works until every sender is gone, then closes the file.
    pub(super) fn work(mut self, mut queue: mpsc::Receiver<Job>) {
        let mut next = None;
        while let Some(job) = next.take().or_else(|| queue.blocking_recv()) {
            match job {
                Job::Append(call) => {
                    let (calls, other) = gather(call, &mut queue);
                    next = other;
                    self.make_durable(calls);
                }
                Job::Delivered { numbers, done } => {
                    let forgotten = owed::delivered(&mut self.connection, &numbers);
                    let _ = done.send(forgotten.map_err(LedgerError::storage));
                }
                Job::OweOnly { to, done } => {
                    let gone = owed::only(&mut self.connection, &to);
                    let _ = done.send(gone.map_err(LedgerError::storage));
                }
                Job::Record { part, done } => {
                    let recorded = parts::record(&mut self.connection, &part);
                    let _ = done.send(recorded.map_err(LedgerError::storage));
                }
                Job::Sweep { rows, done } => {
                    let swept = parts::sweep(&mut self.connection, rows);
                    let _ = done.send(swept.map_err(LedgerError::storage));
                }
                Job::Shrink { done } => {
                    let shrunk = self.shrink().map_err(LedgerError::storage);
                    let _ = done.send(shrunk);
                }
                #[cfg(any(test, feature = "suite"))]
                Job::Limit { pages, done } => {
                    let limited = self.connection.pragma_update(None, "max_page_count", pages);
                    let _ = done.send(limited.map_err(LedgerError::storage));
                }
            }
        }
        self.close();
    }

    /// Makes the calls durable and answers them. Who no longer waits reads it from the ledger.
    fn make_durable(&mut self, calls: Vec<Call>) {
        let appends = calls.iter().map(|call| (call.written.as_slice(), call.owed.as_slice()));
        let Self { connection, shelf, versions, .. } = self;
        match transact::transact(connection, shelf, versions, appends) {
            Ok(done) => {
                let moved = self.head.send_if_modified(|head| {
                    let before = std::mem::replace(&mut head.0, done.end.position);
                    before != done.end.position
                });
                if let Some(owing) = done.owing {
                    self.owing.send_replace(owing);
                }
                self.commits.fetch_add(u64::from(moved), Ordering::Relaxed);
                for (call, answers) in calls.into_iter().zip(done.answers) {
                    let _ = call.done.send(Ok(answers));
                }
            }
            Err(error) => {
                for call in calls {
                    let _ = call.done.send(Err(error.clone()));
                }
            }
        }
    }

    /// Writes the file anew without the room that nobody uses. All wait meanwhile.
    fn shrink(&self) -> rusqlite::Result<()> {
        self.connection.execute_batch("VACUUM")?;
        self.checkpoint()
    }

    fn checkpoint(&self) -> rusqlite::Result<()> {
        self.connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))
    }

    /// Moves the log into the file. Whatever fails here, the log still holds it.
    fn close(self) {
        if let Err(error) = self.checkpoint() {
            tracing::warn!(%error, "the ledger's log stays beside its file; nothing is lost");
        }
        if let Err((_, error)) = self.connection.close() {
            tracing::warn!(%error, "the ledger's file was not closed in order; nothing is lost");
        }
    }
}

/// The calls that wait together with this one, and the job that comes after them.
fn gather(first: Call, queue: &mut mpsc::Receiver<Job>) -> (Vec<Call>, Option<Job>) {
    let mut facts = first.facts();
    let mut calls = vec![first];
    while facts < LARGE_TRANSACTION && calls.len() < MOST_CALLS {
        match queue.try_recv() {
            Ok(Job::Append(call)) => {
                facts += call.facts();
                calls.push(call);
            }
            Ok(other) => return (calls, Some(other)),
            Err(_) => break,
        }
    }
    (calls, None)
}
