//! Reading events back, on connections that cannot write: those of the archive's parts first, then
//! those of the ledger's own file.

use std::collections::HashMap;
use std::path::{Path, PathBuf};
use std::sync::{Arc, Mutex};

use rusqlite::types::ValueRef;
use rusqlite::{Connection, ToSql};
use stencilward_domain::event::{Position, Recorded, Stream};
use tokio::sync::Semaphore;

use super::held;
use super::parts;
use super::source::{Shelf, Source};
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
    WHERE stream = ?1 AND position > ?2 ORDER BY version DESC LIMIT ?3";

/// Read connections, opened when needed and kept for the next read.
pub(super) struct Readers {
    path: PathBuf,
    folder: PathBuf,
    turns: Arc<Semaphore>,
    idle: Mutex<Vec<Source>>,
}

impl Readers {
    pub(super) fn new(path: PathBuf, folder: PathBuf) -> Self {
        let turns = Arc::new(Semaphore::new(READERS));
        Self { path, folder, turns, idle: Mutex::new(Vec::new()) }
    }

    pub(super) fn path(&self) -> &Path {
        &self.path
    }

    /// From where relative files of parts are looked for.
    pub(super) fn folder(&self) -> &Path {
        &self.folder
    }

    /// Closes the connections that nobody uses at the moment.
    pub(super) fn rest(&self) {
        held(&self.idle).clear();
    }

    /// Reads in a thread that may wait for the disk.
    pub(super) async fn with<T, F>(self: &Arc<Self>, read: F) -> Result<T, LedgerError>
    where
        T: Send + 'static,
        F: FnOnce(&Connection, &mut Shelf) -> Result<T, LedgerError> + Send + 'static,
    {
        let turns = Arc::clone(&self.turns);
        let turn = turns.acquire_owned().await;
        let turn = turn.map_err(|_| LedgerError::Closed)?;
        let readers = Arc::clone(self);
        tokio::task::spawn_blocking(move || {
            let _turn = turn;
            let idle = held(&readers.idle).pop();
            let mut source =
                idle.map_or_else(|| Source::open(&readers.path, &readers.folder), Ok)?;
            let result = source.at_once(read);
            if result.is_ok() {
                held(&readers.idle).push(source);
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
    shelf: &mut Shelf,
    after: Position,
    limit: usize,
) -> Result<Vec<Entry>, LedgerError> {
    let entries = in_order(connection, shelf, after, limit, (entry_of, entry))?;
    let mut next = after.0;
    for entry in &entries {
        next = next.saturating_add(1);
        if entry.recorded.position.0 != next {
            return Err(LedgerError::Missing(Position(next)));
        }
    }
    Ok(entries)
}

pub(super) fn rows(
    connection: &Connection,
    shelf: &mut Shelf,
    after: Position,
    limit: usize,
) -> Result<Vec<Row>, LedgerError> {
    in_order(connection, shelf, after, limit, (Ok, row))
}

/// How an event is taken from a part and from the ledger's file.
type Take<T> =
    (fn(Row) -> Result<T, LedgerError>, fn(&rusqlite::Row<'_>) -> Result<T, LedgerError>);

fn in_order<T>(
    connection: &Connection,
    shelf: &mut Shelf,
    after: Position,
    limit: usize,
    (from_part, from_file): Take<T>,
) -> Result<Vec<T>, LedgerError> {
    let end = parts::end(connection).map_err(LedgerError::storage)?;
    let (mut taken, mut at) = (Vec::new(), after.0);
    while at < end && taken.len() < limit {
        let Some(part) = parts::next(connection, at).map_err(LedgerError::storage)? else { break };
        let rows = shelf.take_down(&part)?;
        let rows = rows
            .rows(Position(at), limit.saturating_sub(taken.len()))
            .map_err(LedgerError::Part)?;
        for row in rows {
            taken.push(from_part(row)?);
        }
        at = part.last.0;
    }
    let left = limit.saturating_sub(taken.len());
    let after = signed(after.0.max(end));
    taken.extend(query(connection, ALL, &[&after, &lines(left)], left, from_file)?);
    Ok(taken)
}

pub(super) fn stream(
    connection: &Connection,
    shelf: &mut Shelf,
    stream: &str,
    after: u64,
    limit: usize,
) -> Result<Vec<Entry>, LedgerError> {
    of_stream(connection, shelf, stream, after, limit, (entry_of, entry))
}

pub(super) fn stream_rows(
    connection: &Connection,
    shelf: &mut Shelf,
    stream: &str,
    after: u64,
    limit: usize,
) -> Result<Vec<Row>, LedgerError> {
    of_stream(connection, shelf, stream, after, limit, (Ok, row))
}

fn of_stream<T>(
    connection: &Connection,
    shelf: &mut Shelf,
    stream: &str,
    after: u64,
    limit: usize,
    (from_part, from_file): Take<T>,
) -> Result<Vec<T>, LedgerError> {
    let end = parts::end(connection).map_err(LedgerError::storage)?;
    let archived = parts::version(connection, stream, end).map_err(LedgerError::storage)?;
    let (mut taken, mut at, mut place) = (Vec::new(), after, 0);
    while at < archived && taken.len() < limit {
        let gap = || LedgerError::Gap { stream: stream.to_owned(), version: at.saturating_add(1) };
        let part = parts::next(connection, place).map_err(LedgerError::storage)?;
        let part = part.ok_or_else(gap)?;
        place = part.last.0;
        let left = limit.saturating_sub(taken.len());
        for row in shelf.take_down(&part)?.stream(stream, at, left).map_err(LedgerError::Part)? {
            at = at.saturating_add(1);
            if row.version != at {
                return Err(LedgerError::Gap { stream: stream.to_owned(), version: at });
            }
            taken.push(from_part(row)?);
        }
    }
    let left = limit.saturating_sub(taken.len());
    let parameters: [&dyn ToSql; 3] = [&stream, &signed(after.max(archived)), &lines(left)];
    taken.extend(query(connection, STREAM, &parameters, left, from_file)?);
    Ok(taken)
}

pub(super) fn stream_back(
    connection: &Connection,
    shelf: &mut Shelf,
    stream: &str,
    limit: usize,
) -> Result<Vec<Entry>, LedgerError> {
    let end = parts::end(connection).map_err(LedgerError::storage)?;
    let parameters: [&dyn ToSql; 3] = [&stream, &signed(end), &lines(limit)];
    let mut taken = query(connection, STREAM_BACK, &parameters, limit, entry)?;
    let mut from = parts::version(connection, stream, end).map_err(LedgerError::storage)?;
    let mut place = u64::MAX;
    while from > 0 && taken.len() < limit {
        let gap = || LedgerError::Gap { stream: stream.to_owned(), version: from };
        let part = parts::previous(connection, place).map_err(LedgerError::storage)?;
        let part = part.ok_or_else(gap)?;
        place = part.last.0;
        let left = limit.saturating_sub(taken.len());
        for row in
            shelf.take_down(&part)?.stream_back(stream, from, left).map_err(LedgerError::Part)?
        {
            if row.version != from {
                return Err(LedgerError::Gap { stream: stream.to_owned(), version: from });
            }
            from -= 1;
            taken.push(entry_of(row)?);
        }
    }
    Ok(taken)
}

pub(super) fn versions(connection: &Connection) -> Result<HashMap<Stream, u64>, LedgerError> {
    let last = "SELECT stream, max(version) FROM event GROUP BY stream
        UNION ALL SELECT stream, version FROM archived
            WHERE NOT EXISTS (SELECT 1 FROM event WHERE event.stream = archived.stream)";
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

/// An event of a part as an entry.
fn entry_of(row: Row) -> Result<Entry, LedgerError> {
    let position = Position(row.position);
    let text = |bytes| {
        String::from_utf8(bytes).map_err(|source| LedgerError::unreadable(position, source))
    };
    let body = text(row.body)?;
    let odd = || LedgerError::unreadable(position, "its batch or hash has another length");
    Ok(Entry {
        recorded: Recorded { position, fact: body::read(position, &body)? },
        stream: text(row.stream)?,
        version: row.version,
        batch: BatchId(row.batch.try_into().map_err(|_| odd())?),
        body,
        hash: row.hash.try_into().map_err(|_| odd())?,
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
