//! One durable write: checks each append against its stream and chains its events.

use std::collections::HashMap;

use rusqlite::{Connection, OptionalExtension, Transaction, TransactionBehavior, params};
use stencilward_domain::event::Position;

use super::owed;
use super::read::{signed, unsigned};
use crate::body::Written;
use crate::chain::{GENESIS, Hash, Link};
use crate::contract::{Appended, Owed};
use crate::error::Refused;

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

/// The end of the chain as it lies in the file.
pub(super) fn end(connection: &Connection) -> rusqlite::Result<End> {
    let last = "SELECT position, hash FROM event ORDER BY position DESC LIMIT 1";
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
    versions: &mut Versions,
    calls: impl Iterator<Item = Handed<'a>>,
) -> rusqlite::Result<Done> {
    if !connection.is_autocommit() {
        // An earlier roll-back failed as well.
        connection.execute_batch("ROLLBACK")?;
    }
    let transaction = connection.transaction_with_behavior(TransactionBehavior::Immediate)?;
    let end = end(&transaction)?;
    let mut page = Page { end, transaction, versions: versions.still_true(end), owing: None };
    let answers = calls.map(|call| page.take(call)).collect::<rusqlite::Result<_>>()?;
    let (end, owing) = (page.end, page.owing);
    page.transaction.commit()?;
    versions.at = Some(end);
    Ok(Done { end, answers, owing })
}

/// A transaction under way.
struct Page<'c, 'v> {
    transaction: Transaction<'c>,
    end: End,
    versions: &'v mut HashMap<String, u64>,
    owing: Option<u64>,
}

impl Page<'_, '_> {
    fn take(&mut self, (written, owed): Handed<'_>) -> rusqlite::Result<Answers> {
        let before = self.end;
        let answers = written.iter().map(|written| self.answer(written));
        let answers = answers.collect::<rusqlite::Result<_>>()?;
        if written.is_empty() || self.end != before {
            self.owing = owed::keep(&self.transaction, owed)?.or(self.owing);
        }
        Ok(answers)
    }

    fn answer(
        &mut self,
        written: &Result<Written, Refused>,
    ) -> rusqlite::Result<Result<Appended, Refused>> {
        let written = match written {
            Ok(written) => written,
            Err(refused) => return Ok(Err(refused.clone())),
        };
        let actual = self.version(&written.stream)?;
        if actual == written.expected {
            return self.add(written).map(Ok);
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
        let last = "SELECT version FROM event WHERE stream = ?1 ORDER BY version DESC LIMIT 1";
        let found = self
            .transaction
            .prepare_cached(last)?
            .query_row([stream], |row| row.get(0))
            .optional()?;
        let version = found.map_or(0, unsigned);
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
    fn repeated(&self, written: &Written) -> rusqlite::Result<Option<Appended>> {
        let before = written.expected;
        let mut statement = self.transaction.prepare_cached(
            "SELECT position, version, batch, body FROM event
             WHERE stream = ?1 AND version > ?2 ORDER BY version",
        )?;
        let mut rows = statement.query(params![written.stream, signed(before)])?;
        let mut places: Option<(Position, Position)> = None;
        let mut version = before;
        for body in written.bodies() {
            version = version.saturating_add(1);
            let Some(row) = rows.next()? else {
                return Ok(None);
            };
            let same = unsigned(row.get(1)?) == version
                && row.get_ref(2)?.as_bytes()? == written.batch.0
                && row.get_ref(3)?.as_bytes()? == body.as_bytes();
            if !same {
                return Ok(None);
            }
            let position = Position(unsigned(row.get(0)?));
            places = Some((places.map_or(position, |(first, _)| first), position));
        }
        Ok(places.map(|(first, last)| Appended { first, last, version }))
    }
}
