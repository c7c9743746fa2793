//! The file of one part: an SQLite database of its own, made once and never changed.

mod block;
mod index;
mod make;
mod read;

use rusqlite::Connection;

pub(super) use block::Sizes;
pub(super) use make::{MakeError, Maker};
pub(super) use read::Opened;

/// Marks a file as a part of a stencil ledger ("SWLP").
pub(super) const APPLICATION: i64 = 0x5357_4c50;

/// The schema this version makes.
pub(super) const SCHEMA: i64 = 1;

const TABLES: &str = "
    CREATE TABLE part (
        first    INTEGER NOT NULL,
        last     INTEGER NOT NULL,
        earliest INTEGER NOT NULL,
        latest   INTEGER NOT NULL,
        before   BLOB    NOT NULL CHECK (length(before) = 32),
        hash     BLOB    NOT NULL CHECK (length(hash) = 32)
    ) STRICT;
    CREATE TABLE block (
        last   INTEGER PRIMARY KEY,
        hash   BLOB    NOT NULL CHECK (length(hash) = 32),
        events BLOB    NOT NULL
    ) STRICT;
    CREATE TABLE stream (
        name    TEXT    NOT NULL,
        version INTEGER NOT NULL,
        block   INTEGER NOT NULL,
        PRIMARY KEY (name, version)
    ) STRICT, WITHOUT ROWID;";

fn pragma(connection: &Connection, name: &str) -> rusqlite::Result<i64> {
    connection.pragma_query_value(None, name, |row| row.get(0))
}
