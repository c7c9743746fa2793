//! Opening the file: version, schema, durability, and nobody else at work on it.

use std::fs::{self, File, TryLockError};
use std::io;
use std::path::{Path, PathBuf};
use std::time::{Duration, Instant};

use rusqlite::{Connection, ErrorCode, OpenFlags};

use super::owed::TABLE as OWED;
use super::part::Opened;
use super::parts::{self, TABLES as PARTS};
use crate::chain::GENESIS;
use crate::part::{PartFault, PartWrong};

/// Marks a file as a stencil ledger ("SWLG").
pub(super) const APPLICATION: i64 = 0x5357_4c47;

/// What each schema adds to the one before it, from the first on.
pub(super) const SCHEMAS: [&str; 3] = [EVENTS, OWED, PARTS];

/// The schema this version writes.
pub(super) const SCHEMA: i64 = SCHEMAS.len() as i64;

/// The first SQLite without the WAL-reset fault (3.51.3), by which two connections at work at
/// the same moment could lose a commit.
const OLDEST_SQLITE: i32 = 3_051_003;

/// How long somebody who has the ledger open may take to be gone: a program that was just ended, or
/// one that this process started, which holds its files until it has become another (fork(2)).
pub(super) const LEAVING: Duration = Duration::from_millis(500);

/// Between two tries.
const AGAIN: Duration = Duration::from_millis(10);

/// How long a statement waits for another program that holds the file.
pub(super) const BUSY: Duration = Duration::from_secs(2);

const EVENTS: &str = "
    CREATE TABLE event (
        position INTEGER PRIMARY KEY,
        stream   TEXT    NOT NULL,
        version  INTEGER NOT NULL,
        batch    BLOB    NOT NULL CHECK (length(batch) = 16),
        body     TEXT    NOT NULL,
        hash     BLOB    NOT NULL CHECK (length(hash) = 32),
        UNIQUE (stream, version)
    ) STRICT;
    CREATE TRIGGER event_stays_as_it_is BEFORE UPDATE ON event
        BEGIN SELECT RAISE(ABORT, 'an event of the ledger is never edited'); END;
    CREATE TRIGGER event_stays BEFORE DELETE ON event
        BEGIN SELECT RAISE(ABORT, 'an event of the ledger is never taken out'); END;";

/// Why a ledger cannot be opened.
#[derive(Debug, thiserror::Error)]
pub enum OpenError {
    /// The folder of the file is not there.
    #[error("the folder {} does not exist: create it, or name another file", .0.display())]
    NoFolder(PathBuf),
    /// The name is that of a folder.
    #[error("{} is a folder: name a file in it", .0.display())]
    IsFolder(PathBuf),
    /// There is no such file to read.
    #[error("there is no ledger {}: name another file, or run the gateway first", .0.display())]
    Missing(PathBuf),
    /// The folder or file is closed to us.
    #[error("{} cannot be used: see that this user may read and write it", path.display())]
    Closed {
        /// The folder or file.
        path: PathBuf,
        /// What the system says.
        #[source]
        source: io::Error,
    },
    /// Somebody else has it open.
    #[error("another gateway has this ledger open: stop it first, or name another file")]
    InUse,
    /// SQLite is too old to be trusted with WAL.
    #[error(
        "SQLite {0} can lose a commit (WAL-reset fault): build the gateway with 3.51.3 or later"
    )]
    OldSqlite(String),
    /// A part of its archive is not as it must be.
    #[error(transparent)]
    Part(Box<PartFault>),
    /// The file belongs to another program.
    #[error("this file is no ledger: name another file, or move this one away")]
    Foreign,
    /// The file was written by a later version of the gateway.
    #[error("the ledger has schema {0}, this gateway knows {SCHEMA}: use the newer gateway")]
    Newer(i64),
    /// A setting that makes commits durable was not taken.
    #[error("the ledger's storage does not take {setting}, it keeps {found}: use a local disk")]
    Setting {
        /// Which.
        setting: &'static str,
        /// What is set instead.
        found: String,
    },
    /// The file cannot be read or written.
    #[error("the ledger cannot be read or written: see that its disk is there and has room")]
    Storage(#[from] rusqlite::Error),
    /// The writer thread cannot be started.
    #[error("the system gives no thread for the ledger's writer")]
    Thread(#[source] io::Error),
}

/// The file by the one name that all who open it share, whatever links lead to it.
pub(super) fn resolve(path: &Path) -> Result<PathBuf, OpenError> {
    let closed = |path: &Path, source| OpenError::Closed { path: path.to_owned(), source };
    match fs::canonicalize(path) {
        Ok(folder) if folder.is_dir() => return Err(OpenError::IsFolder(folder)),
        Ok(file) => return Ok(file),
        Err(error) if error.kind() != io::ErrorKind::NotFound => return Err(closed(path, error)),
        Err(_) => {}
    }
    let absolute = std::path::absolute(path).map_err(|error| closed(path, error))?;
    let (Some(folder), Some(name)) = (absolute.parent(), absolute.file_name()) else {
        return Err(OpenError::Foreign);
    };
    match fs::canonicalize(folder) {
        Ok(folder) => Ok(folder.join(name)),
        Err(error) if error.kind() == io::ErrorKind::NotFound => {
            Err(OpenError::NoFolder(folder.to_owned()))
        }
        Err(error) => Err(closed(folder, error)),
    }
}

/// The folder of a resolved file.
pub(super) fn folder(path: &Path) -> &Path {
    path.parent().unwrap_or(path)
}

/// Takes the lock beside the file, waiting for so long. The system frees it however this process
/// ends.
pub(super) fn lock(path: &Path, patience: Duration) -> Result<File, OpenError> {
    let mut name = path.as_os_str().to_owned();
    name.push(".lock");
    let name = PathBuf::from(name);
    let mut options = File::options();
    let file = options.create(true).truncate(false).write(true).open(&name);
    let closed = |source| OpenError::Closed { path: name.clone(), source };
    let file = file.map_err(closed)?;
    let begun = Instant::now();
    loop {
        match file.try_lock() {
            Ok(()) => return Ok(file),
            Err(TryLockError::WouldBlock) if begun.elapsed() < patience => {
                std::thread::sleep(AGAIN);
            }
            Err(TryLockError::WouldBlock) => return Err(OpenError::InUse),
            Err(TryLockError::Error(source)) => return Err(closed(source)),
        }
    }
}

/// The one connection that writes.
pub(super) fn writer(path: &Path) -> Result<Connection, OpenError> {
    new_enough(rusqlite::version_number(), rusqlite::version())?;
    let flags = OpenFlags::SQLITE_OPEN_READ_WRITE
        | OpenFlags::SQLITE_OPEN_CREATE
        | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(path, flags)?;
    connection.busy_timeout(BUSY)?;
    identify(&connection)?;
    settle(&connection)?;
    Ok(connection)
}

/// Sees that each part of the archive is there, is the one it must be, and goes on where the one
/// before it ends.
pub(super) fn look_at_parts(connection: &Connection, folder: &Path) -> Result<(), OpenError> {
    let (mut end, mut hash) = (0, GENESIS);
    for part in parts::all(connection)? {
        let follows = part.first.0 == end + 1 && part.before == hash;
        (end, hash) = (part.last.0, part.hash);
        let opened = Opened::open(&part, folder).map(drop);
        let right = opened.and(if follows { Ok(()) } else { Err(part.is(PartWrong::Another)) });
        right.map_err(OpenError::Part)?;
    }
    Ok(())
}

fn new_enough(number: i32, name: &str) -> Result<(), OpenError> {
    if number < OLDEST_SQLITE {
        return Err(OpenError::OldSqlite(name.to_owned()));
    }
    Ok(())
}

/// Sets what makes a commit durable, and reads it back.
fn settle(connection: &Connection) -> Result<(), OpenError> {
    let mode: String = connection.query_row("PRAGMA journal_mode = WAL", [], |row| row.get(0))?;
    if !mode.eq_ignore_ascii_case("wal") {
        return Err(OpenError::Setting { setting: "journal_mode = WAL", found: mode });
    }
    connection.execute_batch("PRAGMA synchronous = FULL")?;
    match pragma(connection, "synchronous")? {
        2 => Ok(()),
        other => {
            Err(OpenError::Setting { setting: "synchronous = FULL (2)", found: other.to_string() })
        }
    }
}

/// A connection that only reads.
pub(super) fn reader(path: &Path) -> rusqlite::Result<Connection> {
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY | OpenFlags::SQLITE_OPEN_NO_MUTEX;
    let connection = Connection::open_with_flags(path, flags)?;
    connection.busy_timeout(BUSY)?;
    Ok(connection)
}

/// A connection to a file that nobody changes: neither locks nor a log nor an index are looked
/// for or made (SQLite, "Uniform Resource Identifiers", `immutable`).
pub(super) fn still(path: &Path) -> rusqlite::Result<Connection> {
    let mut address = "file:".to_owned();
    for byte in path.as_os_str().as_encoded_bytes() {
        match byte {
            b'/' | b'-' | b'_' | b'.' | b'0'..=b'9' | b'A'..=b'Z' | b'a'..=b'z' => {
                address.push(char::from(*byte));
            }
            byte => address.push_str(&format!("%{byte:02X}")),
        }
    }
    address.push_str("?immutable=1");
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY
        | OpenFlags::SQLITE_OPEN_NO_MUTEX
        | OpenFlags::SQLITE_OPEN_URI;
    Connection::open_with_flags(address, flags)
}

fn pragma(connection: &Connection, name: &str) -> rusqlite::Result<i64> {
    connection.query_row(&format!("PRAGMA {name}"), [], |row| row.get(0))
}

/// Makes an empty file a ledger, and one of an earlier schema one of this; refuses a file that is
/// something else, and leaves it unchanged.
fn identify(connection: &Connection) -> Result<(), OpenError> {
    let has = match marks(connection)? {
        _ if is_empty(connection)? => 0,
        (APPLICATION, older) if (1..SCHEMA).contains(&older) => older,
        _ => return recognise(connection),
    };
    let missing = SCHEMAS.iter().skip(usize::try_from(has).unwrap_or_default());
    let missing: String = missing.copied().collect();
    connection.execute_batch(&format!(
        "BEGIN IMMEDIATE; {missing}
         PRAGMA application_id = {APPLICATION}; PRAGMA user_version = {SCHEMA}; COMMIT;"
    ))?;
    Ok(())
}

/// Refuses a file that is no ledger this version can read.
pub(super) fn recognise(connection: &Connection) -> Result<(), OpenError> {
    match marks(connection)? {
        (APPLICATION, 1..=SCHEMA) => Ok(()),
        (APPLICATION, newer) if newer > SCHEMA => Err(OpenError::Newer(newer)),
        _ => Err(OpenError::Foreign),
    }
}

fn is_empty(connection: &Connection) -> Result<bool, OpenError> {
    let marks = marks(connection)?;
    let count = "SELECT count(*) FROM sqlite_schema";
    let tables: i64 = connection.query_row(count, [], |row| row.get(0))?;
    Ok((marks, tables) == ((0, 0), 0))
}

/// The marks of the program that wrote the file, and of its schema.
fn marks(connection: &Connection) -> Result<(i64, i64), OpenError> {
    let application =
        pragma(connection, "application_id").map_err(|error| match error.sqlite_error_code() {
            Some(ErrorCode::NotADatabase) => OpenError::Foreign,
            _ => OpenError::Storage(error),
        })?;
    Ok((application, pragma(connection, "user_version")?))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn an_sqlite_with_the_wal_reset_fault_is_refused() {
        assert!(matches!(
            new_enough(3_051_002, "3.51.2"),
            Err(OpenError::OldSqlite(name)) if name == "3.51.2"
        ));
        assert!(new_enough(3_051_003, "3.51.3").is_ok());
        assert!(new_enough(rusqlite::version_number(), "the one built in").is_ok());
    }
}
