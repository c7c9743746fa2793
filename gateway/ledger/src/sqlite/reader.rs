//! Reading a ledger that somebody else may be writing to.

use std::path::{Path, PathBuf};
use std::time::SystemTime;
use std::{fs, io};

use rusqlite::Connection;
use stencilward_domain::event::Position;

use super::source::Shelf;
use super::{OpenError, open, parts, read};
use crate::contract::Entry;
use crate::error::LedgerError;
use crate::part::Part;
use crate::verify::{PAGE, Verified, Walk};

/// Reads a ledger's events from outside: it neither makes a file nor keeps a gateway from
/// starting, writing or stopping. Waits for the disk.
///
/// Beside a running gateway it sees what was durable when each read began. When no gateway has
/// the ledger, its file is read as it lies there, and read again should one start meanwhile.
#[derive(Debug)]
pub struct Reader {
    path: PathBuf,
    shelf: Shelf,
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
        let shelf = Shelf::new(open::folder(&path));
        Ok(Self { path, shelf, open })
    }

    /// Up to `limit` events after `after`, in order.
    ///
    /// # Errors
    /// [`LedgerError`] when they cannot be read, or one is missing.
    pub fn read(&mut self, after: Position, limit: usize) -> Result<Vec<Entry>, LedgerError> {
        self.with(|connection, shelf| read::all(connection, shelf, after, limit))
    }

    /// Walks the chain of the ledger's own file, after the parts of its archive, and leaves it at
    /// its schema; `progress` hears of each page's last place. The hash of the last part is
    /// believed: it is the file's own word for what comes before.
    ///
    /// # Errors
    /// [`LedgerError`] when the storage fails.
    pub fn verify(&mut self, mut progress: impl FnMut(Position)) -> Result<Verified, LedgerError> {
        let last = self.parts()?.pop();
        let mut walk = last.map_or(Walk::BEGIN, |part| Walk::after(part.last, part.hash));
        loop {
            let page =
                self.with(|connection, shelf| read::rows(connection, shelf, walk.head, PAGE))?;
            if let Some(found) = walk.along(&page) {
                return Ok(found);
            }
            progress(walk.head);
        }
    }

    /// The parts of its archive, the oldest first.
    ///
    /// # Errors
    /// [`LedgerError`] when they cannot be read.
    pub fn parts(&mut self) -> Result<Vec<Part>, LedgerError> {
        self.with(|connection, _| parts::all(connection).map_err(LedgerError::storage))
    }

    /// Reads as of one moment.
    fn with<T>(
        &mut self,
        read: impl Fn(&Connection, &mut Shelf) -> Result<T, LedgerError>,
    ) -> Result<T, LedgerError> {
        loop {
            let (Open::Shared(connection) | Open::Still(connection, _)) = &self.open;
            let moment = connection.unchecked_transaction().map_err(LedgerError::storage)?;
            let result = read(&moment, &mut self.shelf);
            drop(moment);
            match &self.open {
                Open::Still(_, before) if looks(&self.path) != Some(*before) => {}
                _ => return result,
            }
            self.open = connect(&self.path).map_err(LedgerError::storage)?;
        }
    }

    /// Copies the ledger's own file, without its parts, as it is at one instant into a new file,
    /// compact, and makes the copy durable. A gateway at work goes on; its log grows until the copy
    /// is done.
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
    let connection = open::still(path)?;
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
