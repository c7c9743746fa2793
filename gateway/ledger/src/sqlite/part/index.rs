//! Which blocks hold events of a stream, and from which of its versions on.

use std::collections::BTreeMap;

use rusqlite::{Connection, params};

use crate::contract::Row;
use crate::sqlite::read::signed;

/// The streams of one block, each with the version of its first event there.
#[derive(Debug, Default)]
pub(super) struct Streams(BTreeMap<Vec<u8>, u64>);

impl Streams {
    pub(super) fn see(&mut self, row: &Row) {
        if !self.0.contains_key(&row.stream) {
            self.0.insert(row.stream.clone(), row.version);
        }
    }

    pub(super) fn of(rows: &[Row]) -> Self {
        let mut streams = Self::default();
        rows.iter().for_each(|row| streams.see(row));
        streams
    }

    /// Writes them down as those of this block, and forgets them.
    pub(super) fn write(&mut self, connection: &Connection, block: u64) -> rusqlite::Result<()> {
        let insert = "INSERT INTO stream (name, version, block) VALUES (?1, ?2, ?3)";
        let mut insert = connection.prepare_cached(insert)?;
        for (name, version) in std::mem::take(&mut self.0) {
            let name = String::from_utf8_lossy(&name);
            insert.execute(params![name, signed(version), signed(block)])?;
        }
        Ok(())
    }

    /// How many there are, when each is written down as of this block.
    pub(super) fn found(
        &self,
        connection: &Connection,
        block: u64,
    ) -> rusqlite::Result<Option<i64>> {
        let one = "SELECT 1 FROM stream WHERE name = ?1 AND version = ?2 AND block = ?3";
        let mut one = connection.prepare_cached(one)?;
        for (name, version) in &self.0 {
            let name = String::from_utf8_lossy(name);
            if !one.exists(params![name, signed(*version), signed(block)])? {
                return Ok(None);
            }
        }
        Ok(i64::try_from(self.0.len()).ok())
    }
}
