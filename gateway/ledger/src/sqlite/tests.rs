//! Tests of the SQLite engine: the contract, and what is its own.

use std::path::PathBuf;
use std::sync::Arc;

use async_trait::async_trait;
use tempfile::TempDir;

use super::SqliteLedger;
use crate::contract::Ledger;
use crate::suite::Place;

/// A ledger file in a folder of its own.
struct Kept(TempDir);

impl Kept {
    fn new() -> Self {
        Self(tempfile::tempdir().unwrap())
    }

    fn file(&self) -> PathBuf {
        self.0.path().join("ledger.db")
    }

    fn open(&self) -> SqliteLedger {
        SqliteLedger::open(&self.file()).unwrap()
    }
}

#[async_trait]
impl Place for Kept {
    async fn open(&self) -> Arc<dyn Ledger> {
        Arc::new(Kept::open(self))
    }
}

mod contract {
    crate::contract_tests!(super::Kept::new());
}

mod archived;
mod archiving;
mod by_hand;
mod damaged_parts;
mod faults;
mod killed;
mod killed_archiving;
mod merging;
mod opening;
mod reading;
mod tampering;
