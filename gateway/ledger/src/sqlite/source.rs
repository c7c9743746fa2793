//! Where events are read from: the ledger's file, and the part of its archive that is at hand.

use std::path::{Path, PathBuf};

use rusqlite::Connection;

use super::open;
use super::part::Opened;
use crate::error::LedgerError;
use crate::part::Part;

/// The parts of a ledger, one of them open.
#[derive(Debug)]
pub(super) struct Shelf {
    /// From where relative files of parts are looked for.
    folder: PathBuf,
    open: Option<Opened>,
}

impl Shelf {
    pub(super) fn new(folder: &Path) -> Self {
        Self { folder: folder.to_owned(), open: None }
    }

    /// The part, opened unless it is.
    pub(super) fn take_down(&mut self, part: &Part) -> Result<&mut Opened, LedgerError> {
        let opened = match self.open.take().filter(|opened| opened.is(part)) {
            Some(opened) => opened,
            None => Opened::open(part, &self.folder).map_err(LedgerError::Part)?,
        };
        Ok(self.open.insert(opened))
    }
}

/// A connection to the ledger's file, and its parts.
#[derive(Debug)]
pub(super) struct Source {
    pub(super) connection: Connection,
    pub(super) shelf: Shelf,
}

impl Source {
    /// One that cannot write.
    pub(super) fn open(file: &Path, folder: &Path) -> Result<Self, LedgerError> {
        let connection = open::reader(file).map_err(LedgerError::storage)?;
        Ok(Self { connection, shelf: Shelf::new(folder) })
    }

    /// Reads as of one moment, whatever is written or archived meanwhile.
    pub(super) fn at_once<T>(
        &mut self,
        read: impl FnOnce(&Connection, &mut Shelf) -> Result<T, LedgerError>,
    ) -> Result<T, LedgerError> {
        let moment = self.connection.unchecked_transaction().map_err(LedgerError::storage)?;
        let result = read(&moment, &mut self.shelf);
        drop(moment);
        result
    }
}
