//! Where events are kept: one contract, and engines that keep it.
//!
//! The contract is [`Ledger`]; [`SqliteLedger`] is the embedded engine. Every event carries the
//! hash of the one before it ([`chain`]), so that [`verify`] finds an edit. [`Follower`] reads on
//! as events come. Old events move to files of their own, each a [`Part`].

mod body;
pub mod chain;
mod contract;
mod error;
mod follow;
mod part;
mod sqlite;
mod stream;
mod verify;

#[cfg(any(test, feature = "suite"))]
pub mod suite;

pub use contract::{Append, Appended, BatchId, Due, Entry, Ledger, Owed, Row};
pub use error::{LedgerError, Refused};
pub use follow::Follower;
pub use part::{Part, PartFault, PartWrong};
pub use sqlite::{ArchiveError, AtRest, OpenError, Reader, SqliteLedger};
pub use verify::{Verified, verify, verify_after};
