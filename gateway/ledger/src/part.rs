//! The parts of a ledger's archive, as seen from outside, and what can be wrong with one.

use std::error::Error;
use std::fmt;
use std::path::{Path, PathBuf};
use std::sync::Arc;

use stencilward_domain::event::Position;
use stencilward_domain::time::Timestamp;

use crate::chain::Hash;

/// Old events of a ledger in a file of their own, which never changes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Part {
    /// Its file; a relative path starts at the ledger's folder.
    pub file: PathBuf,
    /// Its first event.
    pub first: Position,
    /// Its last event.
    pub last: Position,
    /// The earliest time at which one of its events was recorded.
    pub earliest: Timestamp,
    /// The latest.
    pub latest: Timestamp,
    /// The hash of the event before its first.
    pub before: Hash,
    /// The hash of its last event.
    pub hash: Hash,
    /// Of the file, in bytes.
    pub size: u64,
}

impl Part {
    /// The folder for parts of this ledger unless another is named: beside it.
    #[must_use]
    pub fn usual_folder(ledger: &Path) -> PathBuf {
        ledger.with_extension("archive")
    }

    /// How many events it has.
    #[must_use]
    pub fn events(&self) -> u64 {
        self.last.0.saturating_sub(self.first.0).saturating_add(1)
    }

    /// Says that this is wrong with it.
    pub(crate) fn is(&self, wrong: PartWrong) -> Box<PartFault> {
        Box::new(PartFault { part: self.clone(), wrong })
    }
}

impl fmt::Display for Part {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let Self { file, first, last, earliest, latest, .. } = self;
        let (from, to) = (Moment(*earliest), Moment(*latest));
        write!(f, "{} with events {first} to {last} of {from} to {to}", file.display())
    }
}

/// A part of the archive that cannot be read: which, and what to do.
#[derive(Debug, Clone)]
pub struct PartFault {
    /// The part; its file is where it was looked for.
    pub part: Part,
    /// What is wrong.
    pub wrong: PartWrong,
}

impl fmt::Display for PartFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "the ledger's part {} {}", self.part, self.wrong)
    }
}

impl Error for PartFault {
    fn source(&self) -> Option<&(dyn Error + 'static)> {
        self.wrong.source()
    }
}

/// What can be wrong with a part's file.
#[derive(Debug, Clone, thiserror::Error)]
pub enum PartWrong {
    /// It is not there.
    #[error("is missing: bring it back there, from where it was moved to or from a backup")]
    Missing,
    /// It cannot be read.
    #[error("cannot be read: see that its disk is there, else bring it back from a backup")]
    Unreadable(#[source] Arc<dyn Error + Send + Sync>),
    /// It is something else.
    #[error("is no part of a ledger: bring the part back from a backup")]
    Foreign,
    /// A later version of the gateway made it.
    #[error("has schema {0}, which this gateway does not know: use the newer gateway")]
    Newer(i64),
    /// It is a part, but not the one that belongs there.
    #[error("holds other events: put the right part there, from a backup if need be")]
    Another,
    /// Its events do not give the hashes that they must.
    #[error("is damaged at events {first} to {last}: bring it back from a backup")]
    Damaged {
        /// The first event that may be at fault.
        first: Position,
        /// The last.
        last: Position,
    },
    /// Its list of streams is not that of its events.
    #[error("is damaged in its list of streams: bring it back from a backup")]
    Index,
}

/// A time to the second, in UTC.
struct Moment(Timestamp);

impl fmt::Display for Moment {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match jiff::Timestamp::from_millisecond(self.0.0) {
            Ok(time) => write!(f, "{}", time.strftime("%Y-%m-%dT%H:%M:%SZ")),
            Err(_) => write!(f, "{} ms after 1970", self.0.0),
        }
    }
}
