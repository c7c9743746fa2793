//! What the ledger's file knows of its parts: which there are, and the last version of each
//! stream that lies in one.
//!
//! Events up to the last part's last are read from parts. Rows of the table of events that are
//! no later are left over from before: they are passed over, and swept out bit by bit.

use std::path::PathBuf;

use rusqlite::{Connection, OptionalExtension, TransactionBehavior, params};
use stencilward_domain::event::Position;
use stencilward_domain::time::Timestamp;

use super::read::{signed, unsigned};
use crate::chain::{GENESIS, Hash};
use crate::part::Part;

/// Since schema 3. Events go only once they lie in a part, which never goes.
pub(super) const TABLES: &str = "
    CREATE TABLE part (
        last     INTEGER PRIMARY KEY,
        first    INTEGER NOT NULL,
        file     TEXT    NOT NULL,
        size     INTEGER NOT NULL,
        earliest INTEGER NOT NULL,
        latest   INTEGER NOT NULL,
        before   BLOB    NOT NULL CHECK (length(before) = 32),
        hash     BLOB    NOT NULL CHECK (length(hash) = 32)
    ) STRICT;
    CREATE TABLE archived (
        stream  TEXT    PRIMARY KEY,
        version INTEGER NOT NULL
    ) STRICT, WITHOUT ROWID;
    CREATE TRIGGER part_stays_as_it_is
        BEFORE UPDATE OF last, first, size, earliest, latest, before, hash ON part
        BEGIN SELECT RAISE(ABORT, 'a part of the ledger is never edited'); END;
    CREATE TRIGGER part_stays BEFORE DELETE ON part
        BEGIN SELECT RAISE(ABORT, 'a part of the ledger is never taken out'); END;
    DROP TRIGGER event_stays;
    CREATE TRIGGER event_stays BEFORE DELETE ON event
        WHEN old.position > coalesce((SELECT max(last) FROM part), 0)
        BEGIN SELECT RAISE(ABORT, 'an event of the ledger is never taken out'); END;";

const ALL: &str = "SELECT file, first, last, earliest, latest, before, hash, size FROM part";

/// Where the parts end; 0 when there is none. A file of an earlier schema has none.
pub(super) fn end(connection: &Connection) -> rusqlite::Result<u64> {
    let schema: i64 = connection
        .prepare_cached("SELECT user_version FROM pragma_user_version")?
        .query_row([], |row| row.get(0))?;
    if schema < 3 {
        return Ok(0);
    }
    let last = "SELECT coalesce(max(last), 0) FROM part";
    connection.prepare_cached(last)?.query_row([], |row| row.get(0)).map(unsigned)
}

/// The part in which the first event after `after` lies, or else the next one.
pub(super) fn next(connection: &Connection, after: u64) -> rusqlite::Result<Option<Part>> {
    let next = format!("{ALL} WHERE last > ?1 ORDER BY last LIMIT 1");
    connection.prepare_cached(&next)?.query_row([signed(after)], part).optional()
}

/// The part whose last event comes before this position.
pub(super) fn previous(connection: &Connection, before: u64) -> rusqlite::Result<Option<Part>> {
    let previous = format!("{ALL} WHERE last < ?1 ORDER BY last DESC LIMIT 1");
    connection.prepare_cached(&previous)?.query_row([signed(before)], part).optional()
}

/// All parts, the oldest first.
pub(super) fn all(connection: &Connection) -> rusqlite::Result<Vec<Part>> {
    if end(connection)? == 0 {
        return Ok(Vec::new());
    }
    let mut all = connection.prepare_cached(&format!("{ALL} ORDER BY last"))?;
    all.query_map([], part)?.collect()
}

fn part(row: &rusqlite::Row<'_>) -> rusqlite::Result<Part> {
    Ok(Part {
        file: PathBuf::from(row.get::<_, String>(0)?),
        first: Position(unsigned(row.get(1)?)),
        last: Position(unsigned(row.get(2)?)),
        earliest: Timestamp(row.get(3)?),
        latest: Timestamp(row.get(4)?),
        before: row.get(5)?,
        hash: row.get(6)?,
        size: unsigned(row.get(7)?),
    })
}

/// The last version of the stream that lies in a part.
pub(super) fn version(connection: &Connection, stream: &str, end: u64) -> rusqlite::Result<u64> {
    if end == 0 {
        return Ok(0);
    }
    // Rows not yet swept out have the lowest versions, so that this looks at them at the most.
    let fresh = "SELECT version FROM event WHERE stream = ?1 AND position > ?2
        ORDER BY version LIMIT 1";
    let fresh: Option<i64> = connection
        .prepare_cached(fresh)?
        .query_row(params![stream, signed(end)], |row| row.get(0))
        .optional()?;
    match fresh {
        Some(version) => Ok(unsigned(version).saturating_sub(1)),
        None => last_version(connection, stream),
    }
}

/// The stream's last version, wherever it lies; 0 when it has none.
pub(super) fn last_version(connection: &Connection, stream: &str) -> rusqlite::Result<u64> {
    let fresh = "SELECT version FROM event WHERE stream = ?1 ORDER BY version DESC LIMIT 1";
    let swept = "SELECT version FROM archived WHERE stream = ?1";
    for query in [fresh, swept] {
        let mut query = connection.prepare_cached(query)?;
        let found: Option<i64> = query.query_row([stream], |row| row.get(0)).optional()?;
        if let Some(version) = found {
            return Ok(unsigned(version));
        }
    }
    Ok(0)
}

/// Notes that the events of this part are to be read from it. False when it does not go on where
/// the parts end, or the table of events has another last event there.
pub(super) fn record(connection: &mut Connection, part: &Part) -> rusqlite::Result<bool> {
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let hash = |position: Position| -> rusqlite::Result<Option<Hash>> {
        let hash = "SELECT hash FROM event WHERE position = ?1";
        transaction.query_row(hash, [signed(position.0)], |row| row.get(0)).optional()
    };
    let last = previous(&transaction, u64::MAX)?;
    let (end, before) = last.map_or((0, GENESIS), |last| (last.last.0, last.hash));
    let follows = part.first.0 == end.saturating_add(1)
        && part.before == before
        && hash(part.last)? == Some(part.hash);
    let Some(file) = part.file.to_str().filter(|_| follows) else {
        return Ok(false);
    };
    transaction.execute(
        "INSERT INTO part (file, first, last, earliest, latest, before, hash, size)
         VALUES (?1, ?2, ?3, ?4, ?5, ?6, ?7, ?8)",
        params![
            file,
            signed(part.first.0),
            signed(part.last.0),
            part.earliest.0,
            part.latest.0,
            part.before,
            part.hash,
            signed(part.size)
        ],
    )?;
    transaction.commit()?;
    Ok(true)
}

/// Takes out up to `limit` rows of events that lie in parts. Gives how many.
pub(super) fn sweep(connection: &mut Connection, limit: u64) -> rusqlite::Result<u64> {
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let first = "SELECT min(position) FROM event";
    let first: Option<i64> = transaction.prepare_cached(first)?.query_row([], |row| row.get(0))?;
    let end = end(&transaction)?;
    let Some(first) = first.map(unsigned).filter(|first| *first <= end) else {
        return Ok(0);
    };
    let upto = signed(end.min(first.saturating_add(limit).saturating_sub(1)));
    let note = "INSERT INTO archived (stream, version)
        SELECT stream, max(version) FROM event WHERE position <= ?1 GROUP BY stream
        ON CONFLICT (stream) DO UPDATE SET version = excluded.version";
    transaction.prepare_cached(note)?.execute([upto])?;
    let swept =
        transaction.prepare_cached("DELETE FROM event WHERE position <= ?1")?.execute([upto])?;
    transaction.commit()?;
    Ok(swept as u64)
}

/// Notes that a part's file lies elsewhere.
pub(super) fn moved(connection: &Connection, last: Position, file: &str) -> rusqlite::Result<()> {
    let update = "UPDATE part SET file = ?2 WHERE last = ?1";
    connection.execute(update, params![signed(last.0), file]).map(drop)
}
