//! Moving the oldest events into a part of their own.
//!
//! A part is written under another name, made durable, read back whole and compared, and only
//! then gets its name and is noted in the ledger, in one durable write. From that write on its
//! events are read from it; their rows in the ledger's file are swept out afterwards, a few in
//! each write. So a crash at any moment leaves each event in one place that is read, and a part
//! of which the ledger does not know harms nobody.

use std::fs::{self, File};
use std::io;
use std::path::{Path, PathBuf};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use rusqlite::Connection;
use sha2::{Digest, Sha256};
use stencilward_domain::event::Position;
use stencilward_domain::time::Timestamp;
use tokio::sync::oneshot;

use super::part::{MakeError, Maker, Opened, Sizes};
use super::read::Readers;
use super::source::Source;
use super::write::Job;
use super::{OpenError, SqliteLedger, open, parts, read};
use crate::chain::{GENESIS, Hash};
use crate::contract::Ledger as _;
use crate::error::LedgerError;
use crate::part::{Part, PartFault};

/// Rows swept out in one write. While it lasts, appends wait.
const SWEPT: u64 = 200;

/// Why nothing was archived.
#[derive(Debug, thiserror::Error)]
pub enum ArchiveError {
    /// An event does not fit the one before it.
    #[error("event {0} does not fit the ones before it: bring the ledger back from a backup")]
    Broken(Position),
    /// The folder cannot be used.
    #[error("{} cannot take a part: see that it is there and has room", .0.display())]
    Folder(PathBuf, #[source] io::Error),
    /// The folder's name cannot be kept in the ledger.
    #[error("{} is no name that the ledger can keep: name another folder", .0.display())]
    Name(PathBuf),
    /// The part does not read back as it was written.
    #[error("the disk does not give back what was written: name a folder on another one")]
    Disk(#[source] Box<PartFault>),
    /// The ledger's end of the parts has moved meanwhile.
    #[error("somebody else archives this ledger: let one of the two do it")]
    Overtaken,
    /// The wait was given up.
    #[error("archiving was stopped; it goes on where it was the next time")]
    Stopped,
    /// The ledger cannot be read or written.
    #[error(transparent)]
    Ledger(#[from] LedgerError),
}

/// Tells the thread that makes a part when nobody waits for it any more.
struct GivenUp(Arc<AtomicBool>);

impl Drop for GivenUp {
    fn drop(&mut self) {
        self.0.store(true, Ordering::Relaxed);
    }
}

impl SqliteLedger {
    /// The parts of its archive, the oldest first.
    ///
    /// # Errors
    /// [`LedgerError`] when they cannot be read.
    pub async fn parts(&self) -> Result<Vec<Part>, LedgerError> {
        self.readers.with(|file, _| parts::all(file).map_err(LedgerError::storage)).await
    }

    /// Notes in a ledger's file that nobody has that its parts lie in this folder, beside it, each
    /// under the name it has.
    ///
    /// # Errors
    /// [`OpenError`], saying what to do.
    pub fn note_parts_in(file: &Path, folder: &str) -> Result<(), OpenError> {
        let _lock = open::lock(file, Duration::ZERO)?;
        let connection = open::writer(file)?;
        for part in parts::all(&connection)? {
            let name = part.file.file_name().unwrap_or_default().to_string_lossy();
            parts::moved(&connection, part.last, &format!("{folder}/{name}"))?;
        }
        connection.close().map_err(|(_, error)| error.into())
    }

    /// The last event of those that were recorded before this time, which are the first ones of
    /// the ledger. Found by halving: where the clock was put back or forward, somewhere in that
    /// stretch.
    ///
    /// # Errors
    /// [`LedgerError`] when the events cannot be read.
    pub async fn last_before(&self, time: Timestamp) -> Result<Position, LedgerError> {
        let end = |file: &Connection, _: &mut _| parts::end(file).map_err(LedgerError::storage);
        let (mut older, mut newer) = (self.readers.with(end).await?, self.head.borrow().0 + 1);
        while older + 1 < newer {
            let middle = older.midpoint(newer);
            let found = self.read(Position(middle - 1), 1).await?;
            let found = found.first().ok_or(LedgerError::Missing(Position(middle)))?;
            if found.recorded.fact.at < time { older = middle } else { newer = middle }
        }
        Ok(Position(older))
    }

    /// Moves events up to `last`, as many as a part holds, into a part in this folder, which is
    /// made when it is not there. None when there are no more. The ledger may be used meanwhile;
    /// room in its file is used again for new events.
    ///
    /// # Errors
    /// [`ArchiveError`], saying what to do. Nothing is lost, whatever the moment.
    pub async fn archive(
        &self,
        last: Position,
        folder: &Path,
    ) -> Result<Option<Part>, ArchiveError> {
        self.archive_by(last, folder, Sizes::default()).await
    }

    pub(super) async fn archive_by(
        &self,
        last: Position,
        folder: &Path,
        sizes: Sizes,
    ) -> Result<Option<Part>, ArchiveError> {
        let _alone = self.archiving.lock().await;
        self.sweep().await?;
        let last = last.min(*self.head.borrow());
        let given_up = GivenUp(Arc::new(AtomicBool::new(false)));
        let (readers, folder) = (Arc::clone(&self.readers), folder.to_owned());
        let stop = Arc::clone(&given_up.0);
        let making = move || Making { readers: &readers, folder, sizes, stop }.make(last);
        let made = tokio::task::spawn_blocking(making).await;
        let Some(part) = made.map_err(LedgerError::storage)?? else { return Ok(None) };
        let (done, answer) = oneshot::channel();
        self.hand_over(Job::Record { part: part.clone(), done }).await?;
        if !answer.await.map_err(|_| LedgerError::Closed)?? {
            return Err(ArchiveError::Overtaken);
        }
        self.sweep().await?;
        Ok(Some(part))
    }

    /// Takes rows out of the ledger's file that are read from parts. Between two writes it rests
    /// as long as the one took, so that others get at the disk.
    async fn sweep(&self) -> Result<(), LedgerError> {
        loop {
            let begun = Instant::now();
            let (done, answer) = oneshot::channel();
            self.hand_over(Job::Sweep { rows: SWEPT, done }).await?;
            if answer.await.map_err(|_| LedgerError::Closed)?? == 0 {
                return Ok(());
            }
            tokio::time::sleep(begun.elapsed()).await;
        }
    }

    /// Writes the ledger's file anew without the room that archived events left. Needs twice the
    /// room of what stays, and lets nobody write meanwhile.
    ///
    /// # Errors
    /// [`LedgerError`] when there is no room, or somebody holds the file. It then keeps its size.
    pub async fn shrink(&self) -> Result<(), LedgerError> {
        let (done, answer) = oneshot::channel();
        self.hand_over(Job::Shrink { done }).await?;
        answer.await.map_err(|_| LedgerError::Closed)?
    }
}

impl Part {
    /// Reads the part of the ledger in this folder from end to end: its events against their
    /// hashes, and its list of streams.
    ///
    /// # Errors
    /// [`PartFault`], saying what is wrong and what to do.
    pub fn check_in(&self, folder: &Path) -> Result<(), Box<PartFault>> {
        Opened::open(self, folder)?.check(|_| true)
    }
}

/// What a part is made with.
struct Making<'r> {
    readers: &'r Readers,
    folder: PathBuf,
    sizes: Sizes,
    stop: Arc<AtomicBool>,
}

impl Making<'_> {
    /// Makes the part that comes next and holds events up to `last`; it has its name, and the
    /// ledger does not know of it.
    fn make(&self, last: Position) -> Result<Option<Part>, ArchiveError> {
        let mut source = Source::open(self.readers.path(), self.readers.folder())?;
        let after = source.at_once(|file, _| {
            let after = parts::previous(file, u64::MAX).map_err(LedgerError::storage)?;
            Ok(after.map_or((Position(0), GENESIS), |part| (part.last, part.hash)))
        })?;
        if after.0 >= last {
            return Ok(None);
        }
        let folder = self.provide_folder().map_err(|error| self.folder_fails(error))?;
        let making = folder.join(self.temporary_name());
        let part = self.fill(&mut source, &making, after, last);
        let part = part.and_then(|part| self.name(&folder, part));
        if part.is_err() {
            // Else it keeps the room that may be what is wanting.
            let _ = fs::remove_file(&making);
        }
        part.map(Some)
    }

    /// The folder by the name that is kept: what leads to it is followed, but not a link in its own
    /// place, by which it may be moved.
    fn provide_folder(&self) -> io::Result<PathBuf> {
        fs::create_dir_all(&self.folder)?;
        match (self.folder.parent(), self.folder.file_name()) {
            (Some(parent), Some(name)) => Ok(fs::canonicalize(parent)?.join(name)),
            _ => fs::canonicalize(&self.folder),
        }
    }

    fn fill(
        &self,
        source: &mut Source,
        file: &Path,
        (mut after, hash): (Position, Hash),
        last: Position,
    ) -> Result<Part, ArchiveError> {
        match fs::remove_file(file) {
            Err(error) if error.kind() != io::ErrorKind::NotFound => {
                return Err(self.folder_fails(error));
            }
            _ => {}
        }
        let failed = |error| self.making_fails(error);
        let maker = Maker::begin(file.to_owned(), after, hash, self.sizes);
        let mut maker = maker.map_err(failed)?;
        while after < last && !maker.is_full() {
            self.go_on()?;
            let limit =
                self.sizes.block.min(usize::try_from(last.0 - after.0).unwrap_or(usize::MAX));
            let rows = source.at_once(|file, shelf| read::rows(file, shelf, after, limit))?;
            if rows.is_empty() {
                return Err(LedgerError::Missing(Position(after.0 + 1)).into());
            }
            for row in rows {
                if !maker.is_full() {
                    maker.add(&row).map_err(failed)?;
                }
            }
            after = maker.last();
        }
        maker.finish().map_err(failed)
    }

    /// Reads the part back whole, and gives it the name that says which events it has. The same
    /// name means the same events: one that a crash left behind is replaced.
    fn name(&self, folder: &Path, mut part: Part) -> Result<Part, ArchiveError> {
        let mut opened = Opened::open(&part, folder).map_err(ArchiveError::Disk)?;
        opened.check(|_| self.go_on().is_ok()).map_err(ArchiveError::Disk)?;
        drop(opened);
        self.go_on()?;
        let (first, last) = (part.first.0, part.last.0);
        let [a, b, c, d, ..] = part.hash;
        let mut file = folder.join(self.stem());
        file.as_mut_os_string()
            .push(format!("-{first:010}-{last:010}-{a:02x}{b:02x}{c:02x}{d:02x}.part"));
        let made = fs::rename(&part.file, &file).and_then(|()| File::open(folder)?.sync_all());
        made.map_err(|error| self.folder_fails(error))?;
        // Both may be moved together when the one lies below the other.
        let kept = file.strip_prefix(self.readers.folder()).unwrap_or(&file);
        if kept.to_str().is_none() {
            return Err(ArchiveError::Name(kept.to_owned()));
        }
        part.file = kept.to_owned();
        Ok(part)
    }

    fn go_on(&self) -> Result<(), ArchiveError> {
        if self.stop.load(Ordering::Relaxed) { Err(ArchiveError::Stopped) } else { Ok(()) }
    }

    fn stem(&self) -> &std::ffi::OsStr {
        self.readers.path().file_stem().unwrap_or_default()
    }

    /// The same each time, so that what a crash left behind is found; another one for each ledger.
    fn temporary_name(&self) -> String {
        let path = self.readers.path().as_os_str().as_encoded_bytes();
        let hash: String =
            Sha256::digest(path).iter().take(8).map(|b| format!("{b:02x}")).collect();
        format!(".{hash}.unfinished")
    }

    fn folder_fails(&self, error: io::Error) -> ArchiveError {
        ArchiveError::Folder(self.folder.clone(), error)
    }

    fn making_fails(&self, error: MakeError) -> ArchiveError {
        match error {
            MakeError::Broken(position) => ArchiveError::Broken(position),
            MakeError::Unreadable(error) => ArchiveError::Ledger(error),
            MakeError::Write(error) => self.folder_fails(error),
        }
    }
}
