//! Why an append is refused, and why an engine cannot work.

use std::error::Error;
use std::sync::Arc;

use stencilward_domain::event::{Position, Stream};

use crate::part::PartFault;

/// Why one append was refused. Nothing of it was kept, and handing it over again changes nothing.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub enum Refused {
    /// The stream has moved on, or never was so far.
    #[error("{stream} is at version {actual}, the writer took it to be at {expected}")]
    Conflict {
        /// The stream.
        stream: Stream,
        /// The version the writer expected.
        expected: u64,
        /// The version it has.
        actual: u64,
    },
    /// An append without facts says nothing.
    #[error("an append to {stream} holds no fact")]
    Empty {
        /// The stream.
        stream: Stream,
    },
    /// A fact that belongs to another stream than the one it was handed over for.
    #[error("a fact of {belongs} was handed over for {stream}")]
    Misplaced {
        /// The stream named by the append.
        stream: Stream,
        /// The stream of the fact.
        belongs: Stream,
    },
    /// A fact that would not read back as it is, such as a measured value that is not a number.
    #[error("a fact of {stream} cannot be written so that it reads back the same")]
    Unwritable {
        /// The stream.
        stream: Stream,
    },
}

/// The engine cannot do its work now.
#[derive(Debug, Clone, thiserror::Error)]
pub enum LedgerError {
    /// The storage fails. Of an append it is safe to hand over the very same again.
    #[error("the ledger's storage fails: see that its disk is there and has room")]
    Storage(#[source] Arc<dyn Error + Send + Sync>),
    /// An event cannot be read back.
    #[error(
        "the event at {position} cannot be read: a newer gateway wrote it, so start that one, or \
         it was edited, so verify the ledger and restore it from a copy"
    )]
    Unreadable {
        /// Its place.
        position: Position,
        /// What is wrong with it.
        #[source]
        source: Arc<dyn Error + Send + Sync>,
    },
    /// An event that must be there is not.
    #[error("the event at {0} is missing: verify the ledger and restore it from a copy")]
    Missing(Position),
    /// An event of a stream that must be there is not.
    #[error("event {version} of {stream} is missing: verify the ledger and restore it from a copy")]
    Gap {
        /// The stream, as text.
        stream: String,
        /// The event's number within it.
        version: u64,
    },
    /// A part of the archive cannot be read.
    #[error(transparent)]
    Part(Box<PartFault>),
    /// The name of a stream cannot be read back.
    #[error("the ledger holds a stream named {0:?}, which no gateway writes: verify the ledger")]
    UnknownStream(String),
    /// The ledger has been closed and takes no more appends.
    #[error("the ledger is closed")]
    Closed,
}

impl LedgerError {
    /// The storage fails for this reason.
    pub fn storage(source: impl Into<Box<dyn Error + Send + Sync>>) -> Self {
        Self::Storage(Arc::from(source.into()))
    }

    pub(crate) fn unreadable(
        position: Position,
        source: impl Into<Box<dyn Error + Send + Sync>>,
    ) -> Self {
        Self::Unreadable { position, source: Arc::from(source.into()) }
    }
}
