//! One durable write: checks each append against its stream and chains its events.

use std::collections::HashMap;

use rusqlite::{Connection, OptionalExtension, Transaction, TransactionBehavior, params};
use stencilward_domain::event::Position;

use super::read::{signed, stream_rows, unsigned};
use super::source::Shelf;
use super::{owed, parts};
use crate::body::Written;
use crate::chain::{GENESIS, Hash, Link};
use crate::contract::{Appended, Owed};
use crate::error::{LedgerError, Refused};

/// One answer for each append of a call.
pub(super) type Answers = Vec<Result<Appended, Refused>>;

/// Streams whose versions are remembered at the most.
const REMEMBERED: usize = 50_000;

/// The end of the chain.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct End {
    pub(super) position: u64,
    hash: Hash,
}

/// What a write did.
pub(super) struct Done {
    /// The end of the chain after it.
    pub(super) end: End,
    /// The answers to each call.
    pub(super) answers: Vec<Answers>,
    /// The number of the last message that came to be owed.
    pub(super) owing: Option<u64>,
}

/// What one call hands over.
pub(super) type Handed<'a> = (&'a [Result<Written, Refused>], &'a [Owed]);

/// The end of the chain as it lies in the file, or in the last part when no event came after it.
pub(super) fn end(connection: &Connection) -> rusqlite::Result<End> {
    let last = "SELECT * FROM (SELECT position, hash FROM event ORDER BY position DESC LIMIT 1)
        UNION ALL SELECT * FROM (SELECT last, hash FROM part ORDER BY last DESC LIMIT 1)
        ORDER BY 1 DESC LIMIT 1";
    let found = connection
        .prepare_cached(last)?
        .query_row([], |row| Ok(End { position: unsigned(row.get(0)?), hash: row.get(1)? }))
        .optional()?;
    Ok(found.unwrap_or(End { position: 0, hash: GENESIS }))
}

/// Versions of streams, from one write to the next: true only while the chain ends where the
/// last write left it.
#[derive(Debug, Default)]
pub(super) struct Versions {
    at: Option<End>,
    known: HashMap<String, u64>,
}

impl Versions {
    /// Those known before, unless something else has happened since.
    fn still_true(&mut self, end: End) -> &mut HashMap<String, u64> {
        // Whatever fails from here on, they are not true any more.
        if self.at.take() != Some(end) || self.known.len() > REMEMBERED {
            self.known.clear();
        }
        &mut self.known
    }
}

/// Makes the calls' appends durable, or nothing of them.
pub(super) fn transact<'a>(
    connection: &mut Connection,
    shelf: &mut Shelf,
    versions: &mut Versions,
    calls: impl Iterator<Item = Handed<'a>>,
) -> Result<Done, LedgerError> {
    if !connection.is_autocommit() {
        // An earlier roll-back failed as well.
        connection.execute_batch("ROLLBACK").map_err(LedgerError::storage)?;
    }
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate);
    let transaction = transaction.map_err(LedgerError::storage)?;
    let end = end(&transaction).map_err(LedgerError::storage)?;
    let versions_still_true = versions.still_true(end);
    let mut page = Page { end, transaction, shelf, versions: versions_still_true, owing: None };
    let answers = calls.map(|call| page.take(call)).collect::<Result<_, _>>()?;
    let (end, owing) = (page.end, page.owing);
    page.transaction.commit().map_err(LedgerError::storage)?;
    versions.at = Some(end);
    Ok(Done { end, answers, owing })
}

/// A transaction under way.
struct Page<'c, 'v> {
    transaction: Transaction<'c>,
    shelf: &'v mut Shelf,
    end: End,
    versions: &'v mut HashMap<String, u64>,
    owing: Option<u64>,
}

impl Page<'_, '_> {
    fn take(&mut self, (written, owed): Handed<'_>) -> Result<Answers, LedgerError> {
        let before = self.end;
        let answers = written.iter().map(|written| self.answer(written));
        let answers = answers.collect::<Result<_, _>>()?;
        if written.is_empty() || self.end != before {
            let kept = owed::keep(&self.transaction, owed).map_err(LedgerError::storage)?;
            self.owing = kept.or(self.owing);
        }
        Ok(answers)
    }

    fn answer(
        &mut self,
        written: &Result<Written, Refused>,
    ) -> Result<Result<Appended, Refused>, LedgerError> {
        let written = match written {
            Ok(written) => written,
            Err(refused) => return Ok(Err(refused.clone())),
        };
        let actual = self.version(&written.stream).map_err(LedgerError::storage)?;
        if actual == written.expected {
            return self.add(written).map(Ok).map_err(LedgerError::storage);
        }
        let repeated = if actual > written.expected { self.repeated(written)? } else { None };
        Ok(repeated.ok_or_else(|| Refused::Conflict {
            stream: written.of.clone(),
            expected: written.expected,
            actual,
        }))
    }

    fn add(&mut self, written: &Written) -> rusqlite::Result<Appended> {
        let insert = "INSERT INTO event (position, stream, version, batch, body, hash)
            VALUES (?1, ?2, ?3, ?4, ?5, ?6)";
        let mut insert = self.transaction.prepare_cached(insert)?;
        let first = Position(self.end.position.saturating_add(1));
        let (stream, batch) = (&written.stream, &written.batch.0);
        let (mut end, mut version) = (self.end, written.expected);
        for body in written.bodies() {
            version = version.saturating_add(1);
            let position = end.position.saturating_add(1);
            let link =
                Link { position, stream: stream.as_bytes(), version, batch, body: body.as_bytes() };
            let hash = link.hash(&end.hash);
            let (place, number) = (signed(position), signed(version));
            insert.execute(params![place, stream, number, batch, body, hash])?;
            end = End { position, hash };
        }
        drop(insert);
        self.end = end;
        self.remember(&written.stream, version);
        Ok(Appended { first, last: Position(self.end.position), version })
    }

    fn version(&mut self, stream: &str) -> rusqlite::Result<u64> {
        if let Some(version) = self.versions.get(stream) {
            return Ok(*version);
        }
        let version = parts::last_version(&self.transaction, stream)?;
        self.remember(stream, version);
        Ok(version)
    }

    fn remember(&mut self, stream: &str, version: u64) {
        if let Some(known) = self.versions.get_mut(stream) {
            *known = version;
        } else {
            self.versions.insert(stream.to_owned(), version);
        }
    }

    /// Where the append lies, when it was kept before: the same batch with the same bodies, right
    /// after the version it expects.
    fn repeated(&mut self, written: &Written) -> Result<Option<Appended>, LedgerError> {
        let (before, facts) = (written.expected, written.facts());
        let rows = stream_rows(&self.transaction, self.shelf, &written.stream, before, facts)?;
        let mut version = before;
        let same = rows.iter().zip(written.bodies()).all(|(row, body)| {
            version = version.saturating_add(1);
            row.version == version && row.batch == written.batch.0 && row.body == body.as_bytes()
        });
        let (Some(first), Some(last), true) = (rows.first(), rows.last(), same) else {
            return Ok(None);
        };
        let (first, last) = (Position(first.position), Position(last.position));
        Ok((rows.len() == facts).then_some(Appended { first, last, version }))
    }
}
