//! Reading a ledger that somebody else may be writing to.

use std::path::{Path, PathBuf};
use std::time::SystemTime;
use std::{fs, io};

use rusqlite::{Connection, OpenFlags};
use stencilward_domain::event::Position;

use super::{OpenError, open, read};
use crate::contract::Entry;
use crate::error::LedgerError;
use crate::verify::{PAGE, Verified, Walk};

/// Reads a ledger's events from outside: it neither makes a file nor keeps a gateway from
/// starting, writing or stopping. Waits for the disk.
///
/// Beside a running gateway it sees what was durable when each read began. When no gateway has
/// the ledger, its file is read as it lies there, and read again should one start meanwhile.
#[derive(Debug)]
pub struct Reader {
    path: PathBuf,
    open: Open,
}

#[derive(Debug)]
enum Open {
    /// Through the log and its index, as every program beside a gateway reads.
    Shared(Connection),
    /// The file alone, which nobody has changed as long as it looks like this.
    Still(Connection, Looks),
}

/// By what a change of the file is seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Looks {
    length: u64,
    modified: Option<SystemTime>,
}

impl Reader {
    /// Opens the ledger in this file.
    ///
    /// # Errors
    /// [`OpenError`], saying what to do; also when there is no such file.
    pub fn open(path: &Path) -> Result<Self, OpenError> {
        let path = open::resolve(path)?;
        if !path.exists() {
            return Err(OpenError::Missing(path));
        }
        let open = connect(&path)?;
        Ok(Self { path, open })
    }

    /// Up to `limit` events after `after`, in order.
    ///
    /// # Errors
    /// [`LedgerError`] when they cannot be read, or one is missing.
    pub fn read(&mut self, after: Position, limit: usize) -> Result<Vec<Entry>, LedgerError> {
        self.with(|connection| read::all(connection, after, limit))
    }

    /// Walks the whole chain, and leaves the file at its schema; `progress` hears of each page's
    /// last place.
    ///
    /// # Errors
    /// [`LedgerError`] when the storage fails.
    pub fn verify(&mut self, mut progress: impl FnMut(Position)) -> Result<Verified, LedgerError> {
        let mut walk = Walk::BEGIN;
        loop {
            let page = self.with(|connection| read::rows(connection, walk.head, PAGE))?;
            if let Some(found) = walk.along(&page) {
                return Ok(found);
            }
            progress(walk.head);
        }
    }

    fn with<T>(
        &mut self,
        read: impl Fn(&Connection) -> Result<T, LedgerError>,
    ) -> Result<T, LedgerError> {
        loop {
            match &self.open {
                Open::Shared(connection) => return read(connection),
                Open::Still(connection, before) => {
                    let result = read(connection);
                    if looks(&self.path) == Some(*before) {
                        return result;
                    }
                }
            }
            self.open = connect(&self.path).map_err(LedgerError::storage)?;
        }
    }

    /// Copies the ledger as it is at one instant into a new file, compact, and makes the copy
    /// durable. A gateway at work goes on; its log grows until the copy is done.
    ///
    /// # Errors
    /// [`LedgerError`] when the file is there already, or there is no room for it.
    pub fn copy_to(&mut self, to: &Path) -> Result<(), LedgerError> {
        let name = to.to_str().ok_or_else(|| {
            LedgerError::storage(io::Error::other("the copy's name is no text: name another"))
        })?;
        loop {
            let (Open::Shared(connection) | Open::Still(connection, _)) = &self.open;
            connection.execute("VACUUM INTO ?1", [name]).map_err(LedgerError::storage)?;
            let whole = match &self.open {
                Open::Shared(_) => true,
                Open::Still(_, before) => looks(&self.path) == Some(*before),
            };
            if whole {
                return fs::File::open(to)
                    .and_then(|file| file.sync_all())
                    .map_err(LedgerError::storage);
            }
            fs::remove_file(to).map_err(LedgerError::storage)?;
            self.open = connect(&self.path).map_err(LedgerError::storage)?;
        }
    }
}

fn connect(path: &Path) -> Result<Open, OpenError> {
    let Some(looks) = looks(path) else {
        let connection = open::reader(path)?;
        open::recognise(&connection)?;
        return Ok(Open::Shared(connection));
    };
    let flags = OpenFlags::SQLITE_OPEN_READ_ONLY
        | OpenFlags::SQLITE_OPEN_NO_MUTEX
        | OpenFlags::SQLITE_OPEN_URI;
    let connection = Connection::open_with_flags(still(path), flags)?;
    open::recognise(&connection)?;
    Ok(Open::Still(connection, looks))
}

/// How the file looks while no log lies beside it; none as soon as one does: a gateway that
/// opens the ledger makes the log before it changes the file.
fn looks(path: &Path) -> Option<Looks> {
    let mut log = path.as_os_str().to_owned();
    log.push("-wal");
    let found = fs::metadata(path).ok()?;
    let looks = Looks { length: found.len(), modified: found.modified().ok() };
    (!Path::new(&log).exists()).then_some(looks)
}

/// The file's address for SQLite (SQLite, "Uniform Resource Identifiers"): with `immutable`
/// neither locks nor a log nor an index are looked for or made.
fn still(path: &Path) -> String {
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
    address
}
