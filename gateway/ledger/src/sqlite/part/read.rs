//! Reading a part: each block against its hash, so that no damage passes for an event.

use std::path::Path;
use std::sync::Arc;

use rusqlite::{Connection, ErrorCode, OptionalExtension, params};
use stencilward_domain::event::Position;
use stencilward_domain::time::Timestamp;

use super::block::unpack;
use super::index::Streams;
use super::{APPLICATION, SCHEMA, pragma};
use crate::chain::Hash;
use crate::contract::Row;
use crate::part::{Part, PartFault, PartWrong};
use crate::sqlite::open;
use crate::sqlite::read::{signed, unsigned};

/// A part that is open, with the block that was read last.
#[derive(Debug)]
pub(in crate::sqlite) struct Opened {
    /// The part as the ledger has it; its file is where it is.
    part: Part,
    connection: Connection,
    block: Option<Arc<[Row]>>,
}

impl Opened {
    /// Opens this part of the ledger in `folder`, and sees that it is the one.
    pub(in crate::sqlite) fn open(part: &Part, folder: &Path) -> Result<Self, Box<PartFault>> {
        let part = Part { file: folder.join(&part.file), ..part.clone() };
        if !part.file.exists() {
            return Err(part.is(PartWrong::Missing));
        }
        match recognise(&part) {
            Ok(connection) => Ok(Self { part, connection, block: None }),
            Err(wrong) => Err(part.is(wrong)),
        }
    }

    /// Whether it is open as this part.
    pub(in crate::sqlite) fn is(&self, part: &Part) -> bool {
        (self.part.last, self.part.hash) == (part.last, part.hash)
    }

    /// Up to `limit` of its events after `after`, in order.
    pub(in crate::sqlite) fn rows(
        &mut self,
        after: Position,
        limit: usize,
    ) -> Result<Vec<Row>, Box<PartFault>> {
        let (mut rows, mut after) = (Vec::new(), after.0);
        while after < self.part.last.0 && rows.len() < limit {
            let block = self.block(after.saturating_add(1))?;
            let fresh = block.iter().skip_while(|row| row.position <= after);
            rows.extend(fresh.take(limit.saturating_sub(rows.len())).cloned());
            after = block.last().map_or(u64::MAX, |row| row.position);
        }
        Ok(rows)
    }

    /// Up to `limit` of its events of one stream after version `after`, in order.
    pub(in crate::sqlite) fn stream(
        &mut self,
        stream: &str,
        after: u64,
        limit: usize,
    ) -> Result<Vec<Row>, Box<PartFault>> {
        let blocks = "SELECT block FROM stream WHERE name = ?1 AND version >= coalesce(
            (SELECT max(version) FROM stream WHERE name = ?1 AND version <= ?2), 0) ORDER BY version";
        let mut rows = Vec::new();
        for last in self.blocks(blocks, stream, after.saturating_add(1))? {
            let block = self.block(last)?;
            let of = block.iter().filter(|row| row.stream == stream.as_bytes());
            let fresh = of.filter(|row| row.version > after);
            rows.extend(fresh.take(limit.saturating_sub(rows.len())).cloned());
            if rows.len() >= limit {
                break;
            }
        }
        Ok(rows)
    }

    /// Up to `limit` of its events of one stream up to version `from`, latest first.
    pub(in crate::sqlite) fn stream_back(
        &mut self,
        stream: &str,
        from: u64,
        limit: usize,
    ) -> Result<Vec<Row>, Box<PartFault>> {
        let blocks =
            "SELECT block FROM stream WHERE name = ?1 AND version <= ?2 ORDER BY version DESC";
        let mut rows = Vec::new();
        for last in self.blocks(blocks, stream, from)? {
            let block = self.block(last)?;
            let of = block.iter().rev().filter(|row| row.stream == stream.as_bytes());
            let fresh = of.filter(|row| row.version <= from);
            rows.extend(fresh.take(limit.saturating_sub(rows.len())).cloned());
            if rows.len() >= limit {
                break;
            }
        }
        Ok(rows)
    }

    /// Reads it from end to end and compares its list of streams. `each` hears of each block's
    /// last event, and says whether to go on.
    pub(in crate::sqlite) fn check(
        &mut self,
        mut each: impl FnMut(Position) -> bool,
    ) -> Result<(), Box<PartFault>> {
        let (mut after, mut listed) = (self.part.first.0.saturating_sub(1), 0_i64);
        while after < self.part.last.0 {
            let block = self.block(after.saturating_add(1))?;
            after = block.last().map_or(u64::MAX, |row| row.position);
            let found = Streams::of(&block).found(&self.connection, after);
            match found.map_err(|error| self.part.is(unreadable(error)))? {
                Some(streams) => listed = listed.saturating_add(streams),
                None => return Err(self.part.is(PartWrong::Index)),
            }
            if !each(Position(after)) {
                return Ok(());
            }
        }
        let all = "SELECT count(*) FROM stream";
        let all: rusqlite::Result<i64> = self.connection.query_row(all, [], |row| row.get(0));
        match all {
            Ok(all) if all == listed => Ok(()),
            Ok(_) => Err(self.part.is(PartWrong::Index)),
            Err(error) => Err(self.part.is(unreadable(error))),
        }
    }

    fn blocks(&self, query: &str, stream: &str, version: u64) -> Result<Vec<u64>, Box<PartFault>> {
        let read = || -> rusqlite::Result<Vec<u64>> {
            let mut statement = self.connection.prepare_cached(query)?;
            let blocks = statement.query_map(params![stream, signed(version)], |row| row.get(0))?;
            blocks.map(|block| block.map(unsigned)).collect()
        };
        read().map_err(|error| self.part.is(unreadable(error)))
    }

    /// The block that holds the event at this position.
    fn block(&mut self, position: u64) -> Result<Arc<[Row]>, Box<PartFault>> {
        if let Some(block) = &self.block
            && block.first().is_some_and(|row| row.position <= position)
            && block.last().is_some_and(|row| row.position >= position)
        {
            return Ok(Arc::clone(block));
        }
        let block = self.fetch(position).map_err(|wrong| self.part.is(wrong))?;
        self.block = Some(Arc::clone(&block));
        Ok(block)
    }

    fn fetch(&self, position: u64) -> Result<Arc<[Row]>, PartWrong> {
        let at = signed(position);
        let before = "SELECT last, hash FROM block WHERE last < ?1 ORDER BY last DESC LIMIT 1";
        let mut before = self.connection.prepare_cached(before).map_err(unreadable)?;
        let before: Option<(i64, Hash)> =
            before.query_row([at], two).optional().map_err(unreadable)?;
        let (first, previous) = before.map_or((self.part.first.0, self.part.before), |before| {
            (unsigned(before.0).saturating_add(1), before.1)
        });
        let block = "SELECT last, hash, events FROM block WHERE last >= ?1 ORDER BY last LIMIT 1";
        let mut block = self.connection.prepare_cached(block).map_err(unreadable)?;
        let block: Option<(i64, Hash, Vec<u8>)> = block
            .query_row([at], |row| Ok((row.get(0)?, row.get(1)?, row.get(2)?)))
            .optional()
            .map_err(unreadable)?;
        let damaged = |last: u64| {
            let last = Position(last.min(self.part.last.0));
            PartWrong::Damaged { first: Position(first.max(self.part.first.0)), last }
        };
        let Some((last, hash, events)) = block else {
            return Err(damaged(u64::MAX));
        };
        let last = unsigned(last);
        let ends = if last == self.part.last.0 { self.part.hash } else { hash };
        let rows = unpack(&events, first, previous).ok_or_else(|| damaged(last))?;
        let right = last <= self.part.last.0
            && rows.last().is_some_and(|row| row.position == last && row.hash == ends);
        if right { Ok(rows.into()) } else { Err(damaged(last)) }
    }
}

fn two(row: &rusqlite::Row<'_>) -> rusqlite::Result<(i64, Hash)> {
    Ok((row.get(0)?, row.get(1)?))
}

fn unreadable(error: rusqlite::Error) -> PartWrong {
    PartWrong::Unreadable(Arc::new(error))
}

/// Opens the part's file, when it is that part.
fn recognise(part: &Part) -> Result<Connection, PartWrong> {
    let connection = open::still(&part.file).map_err(unreadable)?;
    let foreign = |error: rusqlite::Error| match error.sqlite_error_code() {
        Some(ErrorCode::NotADatabase) => PartWrong::Foreign,
        _ => unreadable(error),
    };
    let application = pragma(&connection, "application_id").map_err(foreign)?;
    let schema = pragma(&connection, "user_version").map_err(unreadable)?;
    match (application, schema) {
        (APPLICATION, SCHEMA) => {}
        (APPLICATION, newer) if newer > SCHEMA => return Err(PartWrong::Newer(newer)),
        _ => return Err(PartWrong::Foreign),
    }
    let head = "SELECT first, last, earliest, latest, before, hash FROM part";
    let head = connection.query_row(head, [], |row| {
        Ok(Part {
            file: part.file.clone(),
            first: Position(unsigned(row.get(0)?)),
            last: Position(unsigned(row.get(1)?)),
            earliest: Timestamp(row.get(2)?),
            latest: Timestamp(row.get(3)?),
            before: row.get(4)?,
            hash: row.get(5)?,
            size: part.size,
        })
    });
    if head.map_err(unreadable)? != *part {
        return Err(PartWrong::Another);
    }
    let found =
        std::fs::metadata(&part.file).map_err(|error| PartWrong::Unreadable(Arc::new(error)))?;
    if found.len() != part.size {
        return Err(PartWrong::Damaged { first: part.first, last: part.last });
    }
    Ok(connection)
}
