//! Reading events back, on connections that cannot write.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use rusqlite::types::ValueRef;
use rusqlite::{Connection, ToSql};
use stencilward_domain::event::{Position, Recorded, Stream};
use tokio::sync::Semaphore;

use super::{held, open};
use crate::body;
use crate::contract::{BatchId, Entry, Row};
use crate::error::LedgerError;
use crate::stream as streams;

/// Reads at the same time; more wait for their turn.
const READERS: usize = 4;

/// Rows for which room is made before they come.
const FORESEEN: usize = 1_024;

const ALL: &str = "SELECT position, stream, version, batch, body, hash FROM event
    WHERE position > ?1 ORDER BY position LIMIT ?2";

const STREAM: &str = "SELECT position, stream, version, batch, body, hash FROM event
    WHERE stream = ?1 AND version > ?2 ORDER BY version LIMIT ?3";

const STREAM_BACK: &str = "SELECT position, stream, version, batch, body, hash FROM event
    WHERE stream = ?1 ORDER BY version DESC LIMIT ?2";

/// Read connections, opened when needed and kept for the next read.
pub(super) struct Readers {
    path: PathBuf,
    turns: Arc<Semaphore>,
    idle: Mutex<Vec<Connection>>,
}

impl Readers {
    pub(super) fn new(path: PathBuf) -> Self {
        Self { path, turns: Arc::new(Semaphore::new(READERS)), idle: Mutex::new(Vec::new()) }
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// Closes the connections that nobody uses at the moment.
    pub(super) fn rest(&self) {
        held(&self.idle).clear();
    }

    /// Reads in a thread that may wait for the disk.
    pub(super) async fn with<T, F>(self: &Arc<Self>, read: F) -> Result<T, LedgerError>
    where
        T: Send + 'static,
        F: FnOnce(&Connection) -> Result<T, LedgerError> + Send + 'static,
    {
        let turns = Arc::clone(&self.turns);
        let turn = turns.acquire_owned().await;
        let turn = turn.map_err(|_| LedgerError::Closed)?;
        let readers = Arc::clone(self);
        tokio::task::spawn_blocking(move || {
            let _turn = turn;
            let idle = held(&readers.idle).pop();
            let connection = idle
                .map_or_else(|| open::reader(&readers.path), Ok)
                .map_err(LedgerError::storage)?;
            let result = read(&connection);
            if result.is_ok() {
                held(&readers.idle).push(connection);
            }
            result
        })
        .await
        .map_err(LedgerError::storage)?
    }
}

/// SQLite keeps signed numbers: positions and versions stay below 2^63.
pub(super) fn signed(value: u64) -> i64 {
    i64::try_from(value).unwrap_or(i64::MAX)
}

/// A negative number is not one of ours: it becomes one that fits nowhere.
pub(super) fn unsigned(value: i64) -> u64 {
    u64::try_from(value).unwrap_or(u64::MAX)
}

pub(super) fn all(
    connection: &Connection,
    after: Position,
    limit: usize,
) -> Result<Vec<Entry>, LedgerError> {
    let entries = query(connection, ALL, &[&signed(after.0), &lines(limit)], limit, entry)?;
    let mut next = after.0;
    for entry in &entries {
        next = next.saturating_add(1);
        if entry.recorded.position.0 != next {
            return Err(LedgerError::Missing(Position(next)));
        }
    }
    Ok(entries)
}

pub(super) fn stream(
    connection: &Connection,
    stream: &str,
    after: u64,
    limit: usize,
) -> Result<Vec<Entry>, LedgerError> {
    let parameters: [&dyn ToSql; 3] = [&stream, &signed(after), &lines(limit)];
    query(connection, STREAM, &parameters, limit, entry)
}

pub(super) fn stream_back(
    connection: &Connection,
    stream: &str,
    limit: usize,
) -> Result<Vec<Entry>, LedgerError> {
    query(connection, STREAM_BACK, &[&stream, &lines(limit)], limit, entry)
}

pub(super) fn rows(
    connection: &Connection,
    after: Position,
    limit: usize,
) -> Result<Vec<Row>, LedgerError> {
    query(connection, ALL, &[&signed(after.0), &lines(limit)], limit, row)
}

pub(super) fn versions(connection: &Connection) -> Result<HashMap<Stream, u64>, LedgerError> {
    let last = "SELECT stream, max(version) FROM event GROUP BY stream";
    let pairs = query(connection, last, &[], usize::MAX, |row| {
        let text: String = row.get(0).map_err(LedgerError::storage)?;
        let version: i64 = row.get(1).map_err(LedgerError::storage)?;
        match streams::parse(&text) {
            Some(stream) => Ok((stream, unsigned(version))),
            None => Err(LedgerError::UnknownStream(text)),
        }
    })?;
    Ok(pairs.into_iter().collect())
}

fn lines(limit: usize) -> i64 {
    i64::try_from(limit).unwrap_or(i64::MAX)
}

pub(super) fn query<T>(
    connection: &Connection,
    query: &str,
    parameters: &[&dyn ToSql],
    limit: usize,
    take: impl Fn(&rusqlite::Row<'_>) -> Result<T, LedgerError>,
) -> Result<Vec<T>, LedgerError> {
    let mut statement = connection.prepare_cached(query).map_err(LedgerError::storage)?;
    let mut rows = statement.query(parameters).map_err(LedgerError::storage)?;
    let mut taken = Vec::with_capacity(limit.min(FORESEEN));
    while let Some(row) = rows.next().map_err(LedgerError::storage)? {
        taken.push(take(row)?);
    }
    Ok(taken)
}

fn entry(row: &rusqlite::Row<'_>) -> Result<Entry, LedgerError> {
    let position = Position(unsigned(row.get(0).map_err(LedgerError::storage)?));
    let odd = |source: rusqlite::Error| LedgerError::unreadable(position, source);
    let body: String = row.get(4).map_err(odd)?;
    Ok(Entry {
        recorded: Recorded { position, fact: body::read(position, &body)? },
        stream: row.get(1).map_err(odd)?,
        version: unsigned(row.get(2).map_err(odd)?),
        batch: BatchId(row.get(3).map_err(odd)?),
        body,
        hash: row.get(5).map_err(odd)?,
    })
}

fn row(row: &rusqlite::Row<'_>) -> Result<Row, LedgerError> {
    let number = |column| match row.get_ref(column) {
        Ok(ValueRef::Integer(number)) => unsigned(number),
        _ => u64::MAX,
    };
    let bytes = |column| match row.get_ref(column) {
        Ok(ValueRef::Text(bytes) | ValueRef::Blob(bytes)) => bytes.to_vec(),
        _ => Vec::new(),
    };
    Ok(Row {
        position: number(0),
        stream: bytes(1),
        version: number(2),
        batch: bytes(3),
        body: bytes(4),
        hash: bytes(5),
    })
}
