//! Making a part: event after event, each checked against its hash.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};

use rusqlite::{Connection, params};
use stencilward_domain::event::Position;
use stencilward_domain::time::Timestamp;

use super::block::{Filling, Sizes};
use super::index::Streams;
use super::{APPLICATION, SCHEMA, TABLES};
use crate::body;
use crate::chain::Hash;
use crate::contract::Row;
use crate::error::LedgerError;
use crate::part::Part;
use crate::sqlite::read::signed;

/// Why a part cannot be made.
#[derive(Debug)]
pub(in crate::sqlite) enum MakeError {
    /// The event does not fit the one before it.
    Broken(Position),
    /// The event cannot be read.
    Unreadable(LedgerError),
    /// The file cannot be written.
    Write(io::Error),
}

impl From<rusqlite::Error> for MakeError {
    fn from(error: rusqlite::Error) -> Self {
        Self::Write(io::Error::other(error))
    }
}

impl From<io::Error> for MakeError {
    fn from(error: io::Error) -> Self {
        Self::Write(error)
    }
}

/// A part in the making.
pub(in crate::sqlite) struct Maker {
    connection: Connection,
    part: Part,
    filling: Filling,
    streams: Streams,
    sizes: Sizes,
}

impl Maker {
    /// Begins one in this file, which must not be there, after the event `before` with this hash.
    pub(in crate::sqlite) fn begin(
        file: PathBuf,
        before: Position,
        hash: Hash,
        sizes: Sizes,
    ) -> Result<Self, MakeError> {
        let connection = Connection::open(&file)?;
        // Nobody believes the file before it was read back: it needs no log of its own.
        connection.execute_batch(&format!(
            "PRAGMA journal_mode = OFF; PRAGMA synchronous = OFF;
             PRAGMA application_id = {APPLICATION}; PRAGMA user_version = {SCHEMA};
             BEGIN; {TABLES}"
        ))?;
        let part = Part {
            file,
            first: Position(before.0.saturating_add(1)),
            last: before,
            earliest: Timestamp(i64::MAX),
            latest: Timestamp(i64::MIN),
            before: hash,
            hash,
            size: 0,
        };
        Ok(Self {
            connection,
            part,
            filling: Filling::default(),
            streams: Streams::default(),
            sizes,
        })
    }

    /// The event that was added last.
    pub(in crate::sqlite) fn last(&self) -> Position {
        self.part.last
    }

    /// Whether it holds as many events as a part may.
    pub(in crate::sqlite) fn is_full(&self) -> bool {
        (self.part.last.0 + 1).saturating_sub(self.part.first.0) >= self.sizes.part
    }

    /// Adds the next event.
    pub(in crate::sqlite) fn add(&mut self, row: &Row) -> Result<(), MakeError> {
        let next = Position(self.part.last.0.saturating_add(1));
        let hash = row.link().hash(&self.part.hash);
        if row.position != next.0 || row.hash != hash {
            return Err(MakeError::Broken(next));
        }
        let text = str::from_utf8(&row.body).map_err(|error| LedgerError::unreadable(next, error));
        let fact = text.and_then(|body| body::read(next, body)).map_err(MakeError::Unreadable)?;
        self.part.earliest = self.part.earliest.min(fact.at);
        self.part.latest = self.part.latest.max(fact.at);
        (self.part.last, self.part.hash) = (next, hash);
        self.filling.add(&row.link());
        self.streams.see(row);
        if self.filling.is_full(self.sizes) {
            self.end_block()?;
        }
        Ok(())
    }

    fn end_block(&mut self) -> Result<(), MakeError> {
        let events = self.filling.take()?;
        let insert = "INSERT INTO block (last, hash, events) VALUES (?1, ?2, ?3)";
        let last = self.part.last.0;
        let values = params![signed(last), self.part.hash, events];
        self.connection.prepare_cached(insert)?.execute(values)?;
        Ok(self.streams.write(&self.connection, last)?)
    }

    /// Makes it durable and unchangeable, still under the name it was begun with.
    pub(in crate::sqlite) fn finish(mut self) -> Result<Part, MakeError> {
        if !self.filling.is_empty() {
            self.end_block()?;
        }
        let Part { first, last, earliest, latest, before, hash, .. } = &self.part;
        self.connection.execute(
            "INSERT INTO part (first, last, earliest, latest, before, hash)
             VALUES (?1, ?2, ?3, ?4, ?5, ?6)",
            params![signed(first.0), signed(last.0), earliest.0, latest.0, before, hash],
        )?;
        self.connection.execute_batch("COMMIT")?;
        self.connection.close().map_err(|(_, error)| error)?;
        seal(&self.part.file)?;
        self.part.size = fs::metadata(&self.part.file)?.len();
        Ok(self.part)
    }
}

/// Takes away everybody's leave to write the file, and makes it durable.
fn seal(file: &Path) -> io::Result<()> {
    let open = File::open(file)?;
    let mut mode = open.metadata()?.permissions();
    mode.set_readonly(true);
    open.set_permissions(mode)?;
    open.sync_all()
}
