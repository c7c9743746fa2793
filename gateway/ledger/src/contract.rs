//! The ledger contract: what every engine promises.

use std::collections::{BTreeSet, HashMap};
use std::fmt;

use async_trait::async_trait;
use stencilward_domain::event::{Fact, Position, Recorded, Stream};
use tokio::sync::watch;

use crate::chain::{Hash, Link};
use crate::error::{LedgerError, Refused};

/// A batch's name, chosen by the writer; it tells a repeat from another writer's batch.
#[derive(Clone, Copy, PartialEq, Eq, Hash)]
pub struct BatchId(pub [u8; 16]);

impl fmt::Debug for BatchId {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        self.0.iter().try_for_each(|byte| write!(f, "{byte:02x}"))
    }
}

/// Facts to add to one stream.
#[derive(Debug, Clone, PartialEq)]
pub struct Append {
    /// The stream.
    pub stream: Stream,
    /// The version the writer believes the stream to have: its number of events, 0 when new.
    pub expected: u64,
    /// The batch's name.
    pub batch: BatchId,
    /// At least one fact, each of this stream.
    pub facts: Vec<Fact>,
}

/// A message owed to somebody outside because of what happened, kept until they have it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Owed {
    /// To whom: such as a broker, by its name.
    pub to: String,
    /// What it is about: such as a topic.
    pub about: String,
    /// Whether it takes the place of an earlier one to the same about the same: a state does, an
    /// answer does not.
    pub replaces: bool,
    /// What they are to be told.
    pub body: Vec<u8>,
}

/// A message that is still owed.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Due {
    /// Grows with each message that comes to be owed; never given twice.
    pub number: u64,
    /// The message.
    pub owed: Owed,
}

/// Where an append came to lie.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Appended {
    /// The place of its first event.
    pub first: Position,
    /// The place of its last event.
    pub last: Position,
    /// The stream's version after it.
    pub version: u64,
}

/// An event as kept.
#[derive(Debug, Clone, PartialEq)]
pub struct Entry {
    /// The event in its place.
    pub recorded: Recorded,
    /// Its stream, as text.
    pub stream: String,
    /// The stream's version after it.
    pub version: u64,
    /// The batch it came in.
    pub batch: BatchId,
    /// The body as written, over which the hash goes.
    pub body: String,
    /// Its hash.
    pub hash: Hash,
}

/// An event as it lies in the storage, not yet read: whoever edits a file need not care for sense.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Row {
    /// Its place.
    pub position: u64,
    /// Its stream.
    pub stream: Vec<u8>,
    /// The stream's version after it.
    pub version: u64,
    /// The batch it came in.
    pub batch: Vec<u8>,
    /// Its body.
    pub body: Vec<u8>,
    /// Its hash.
    pub hash: Vec<u8>,
}

impl Row {
    /// What of it goes into its hash.
    #[must_use]
    pub fn link(&self) -> Link<'_> {
        Link {
            position: self.position,
            stream: &self.stream,
            version: self.version,
            batch: &self.batch,
            body: &self.body,
        }
    }
}

/// An append-only record of all events in one total order.
///
/// Positions run from 1 without a gap, in the order in which the events became durable. Every
/// method that waits may be given up: an append given up may still become durable.
#[async_trait]
pub trait Ledger: Send + Sync + 'static {
    /// Adds each append to its stream, in the order given, and returns once they are durable.
    ///
    /// Each append stands for itself: it is kept whole or refused whole. One that was kept
    /// before (same stream, version, batch and facts) is answered with where it lies. An engine
    /// may make many appends, also of several callers, durable in one write.
    ///
    /// # Errors
    /// [`LedgerError`] when the outcome is not known or nothing could be kept. The very same
    /// appends may be handed over again.
    async fn append(
        &self,
        appends: Vec<Append>,
    ) -> Result<Vec<Result<Appended, Refused>>, LedgerError> {
        self.append_owing(&appends, &[]).await
    }

    /// As [`Self::append`], and keeps in the same durable write what is owed because of it. When
    /// each append was refused or kept before, nothing new is owed; without appends, it is.
    ///
    /// # Errors
    /// As for [`Self::append`].
    async fn append_owing(
        &self,
        appends: &[Append],
        owed: &[Owed],
    ) -> Result<Vec<Result<Appended, Refused>>, LedgerError>;

    /// Up to `limit` messages still owed to somebody with numbers after `after`, in the order in
    /// which they came to be owed.
    ///
    /// # Errors
    /// [`LedgerError`] when they cannot be read.
    async fn due(&self, to: &str, after: u64, limit: usize) -> Result<Vec<Due>, LedgerError>;

    /// Forgets messages that have been delivered. Not told durably at once: after a crash they
    /// may be due again.
    ///
    /// # Errors
    /// [`LedgerError`] when the storage fails.
    async fn delivered(&self, numbers: Vec<u64>) -> Result<(), LedgerError>;

    /// Forgets what is owed to anybody but these, and gives to whom it was. Not told durably at
    /// once: after a crash it may be owed again.
    ///
    /// # Errors
    /// [`LedgerError`] when the storage fails.
    async fn owe_only(&self, to: BTreeSet<String>) -> Result<BTreeSet<String>, LedgerError>;

    /// The highest number of a message that came to be owed, as it moves; 0 when there was none
    /// since the ledger was opened.
    fn owing(&self) -> watch::Receiver<u64>;

    /// Up to `limit` events after `after`, in order.
    ///
    /// # Errors
    /// [`LedgerError`] when they cannot be read, or one is missing.
    async fn read(&self, after: Position, limit: usize) -> Result<Vec<Entry>, LedgerError>;

    /// Up to `limit` events of one stream after its version `after`, in order.
    ///
    /// # Errors
    /// [`LedgerError`] when they cannot be read.
    async fn read_stream(
        &self,
        stream: &Stream,
        after: u64,
        limit: usize,
    ) -> Result<Vec<Entry>, LedgerError>;

    /// The last events of one stream, up to `limit`, latest first.
    ///
    /// # Errors
    /// [`LedgerError`] when they cannot be read.
    async fn read_stream_back(
        &self,
        stream: &Stream,
        limit: usize,
    ) -> Result<Vec<Entry>, LedgerError>;

    /// Up to `limit` rows after `after`, in order, as they lie there: for the walk along the
    /// chain.
    ///
    /// # Errors
    /// [`LedgerError`] when the storage fails.
    async fn rows(&self, after: Position, limit: usize) -> Result<Vec<Row>, LedgerError>;

    /// The version of every stream that has events.
    ///
    /// # Errors
    /// [`LedgerError`] when they cannot be read.
    async fn versions(&self) -> Result<HashMap<Stream, u64>, LedgerError>;

    /// The place of the last durable event, as it moves; 0 when there is none. The sender goes
    /// when the ledger is closed.
    fn head(&self) -> watch::Receiver<Position>;

    /// Takes no more appends, makes durable what was handed over, and lets go of the storage:
    /// another ledger may be opened on it. Events can still be read.
    async fn close(&self);
}
