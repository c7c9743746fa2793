//! A ledger's file that no gateway uses, and that none may begin to use meanwhile.

use std::fs::File;
use std::path::{Path, PathBuf};
use std::time::Duration;

use rusqlite::{Connection, OpenFlags};

use super::{OpenError, open};

/// Keeps gateways from a ledger's file, whatever is in it, as long as it lives.
#[derive(Debug)]
pub struct AtRest {
    path: PathBuf,
    _lock: File,
}

impl AtRest {
    /// Keeps gateways from this file, which need not be there.
    ///
    /// # Errors
    /// [`OpenError::InUse`] when one has it open; others when its folder cannot be used.
    pub fn keep(path: &Path) -> Result<Self, OpenError> {
        let path = open::resolve(path)?;
        let lock = open::lock(&path, Duration::ZERO)?;
        Ok(Self { path, _lock: lock })
    }

    /// Brings what a killed gateway left in the log into the file, which is left at its schema.
    /// What another program is reading just now stays in the log.
    ///
    /// # Errors
    /// [`OpenError::Storage`] when the file is damaged, or its disk full.
    pub fn fold(&self) -> Result<(), OpenError> {
        let flags = OpenFlags::SQLITE_OPEN_READ_WRITE | OpenFlags::SQLITE_OPEN_NO_MUTEX;
        let connection = Connection::open_with_flags(&self.path, flags)?;
        connection.busy_timeout(open::BUSY)?;
        connection.query_row("PRAGMA wal_checkpoint(TRUNCATE)", [], |_| Ok(()))?;
        Ok(())
    }
}
