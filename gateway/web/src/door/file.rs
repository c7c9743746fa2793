//! The file beside the ledger in which people are kept: only its owner reads it, it is replaced as
//! a whole, and one writer waits for the other.

use std::fs::{self, File, OpenOptions};
use std::io::{self, Read as _, Write as _};
use std::os::unix::fs::{MetadataExt as _, OpenOptionsExt as _};
use std::path::{Path, PathBuf};
use std::time::SystemTime;

use super::people::People;

/// Largest file read, in bytes.
const LARGEST: u64 = 32 * 1024 * 1024;

/// Where people are kept.
#[derive(Debug, Clone)]
pub struct PeopleFile(PathBuf);

/// Which version of a file it is.
pub(super) type Stamp = Option<(SystemTime, u64, u64)>;

/// Why people cannot be read or changed.
#[derive(Debug, thiserror::Error)]
pub enum PeopleError {
    /// The file cannot be read or written.
    #[error("{file}: {error}; let the gateway's user, and nobody else, read and write it")]
    Io {
        /// Which.
        file: String,
        /// What happened.
        error: io::Error,
    },
    /// Others may read it.
    #[error("{0}: others may read the hashes in it; chmod 600 it, and have passwords changed")]
    Open(String),
    /// It holds something else.
    #[error("{file}: it is damaged ({error}); bring it back from the last backup")]
    Damaged {
        /// Which.
        file: String,
        /// What is wrong.
        error: serde_json::Error,
    },
    /// The change cannot be made.
    #[error("{0}")]
    Refused(String),
}

impl PeopleFile {
    /// The one beside this ledger: `plant.db` has `plant.people.json`.
    #[must_use]
    pub fn beside(ledger: &Path) -> Self {
        Self(ledger.with_extension("people.json"))
    }

    /// Where it is.
    #[must_use]
    pub fn path(&self) -> &Path {
        &self.0
    }

    fn failed(&self, error: io::Error) -> PeopleError {
        PeopleError::Io { file: self.0.display().to_string(), error }
    }

    /// Tells one version from another.
    pub(super) fn stamp(&self) -> Stamp {
        let seen = fs::metadata(&self.0).ok()?;
        Some((seen.modified().ok()?, seen.len(), seen.ino()))
    }

    /// Those who are in it; nobody where there is no file.
    ///
    /// # Errors
    /// [`PeopleError`] when it cannot be read, or others can.
    pub fn read(&self) -> Result<People, PeopleError> {
        let file = match File::open(&self.0) {
            Ok(file) => file,
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(People::default()),
            Err(error) => return Err(self.failed(error)),
        };
        let mode = file.metadata().map_err(|error| self.failed(error))?.mode();
        let name = || self.0.display().to_string();
        if mode & 0o077 != 0 {
            return Err(PeopleError::Open(name()));
        }
        let mut text = String::new();
        file.take(LARGEST).read_to_string(&mut text).map_err(|error| self.failed(error))?;
        serde_json::from_str(&text).map_err(|error| PeopleError::Damaged { file: name(), error })
    }

    /// Changes who is in it. The change is durable when this returns, and unmade when it fails.
    ///
    /// # Errors
    /// [`PeopleError`]; what `change` says is wrong comes as [`PeopleError::Refused`].
    pub fn change<T>(
        &self,
        change: impl FnOnce(&mut People) -> Result<T, String>,
    ) -> Result<T, PeopleError> {
        let lock = self.0.with_extension("lock");
        let lock =
            OpenOptions::new().create(true).truncate(false).write(true).mode(0o600).open(lock);
        let lock = lock.map_err(|error| self.failed(error))?;
        lock.lock().map_err(|error| self.failed(error))?;
        let mut people = self.read()?;
        let done = change(&mut people).map_err(PeopleError::Refused)?;
        self.replace(&people).map_err(|error| self.failed(error))?;
        Ok(done)
    }

    /// Copies everybody into another file.
    ///
    /// # Errors
    /// [`PeopleError`] when one cannot be read or the other not written.
    pub fn copy_to(&self, other: &Self) -> Result<(), PeopleError> {
        let people = self.read()?;
        other.replace(&people).map_err(|error| other.failed(error))
    }

    fn replace(&self, people: &People) -> io::Result<()> {
        let folder = self.0.parent().filter(|folder| !folder.as_os_str().is_empty());
        let folder = folder.unwrap_or(Path::new("."));
        // Made for its owner alone.
        let mut new = tempfile::NamedTempFile::new_in(folder)?;
        serde_json::to_writer_pretty(&mut new, people)?;
        new.write_all(b"\n")?;
        new.as_file().sync_all()?;
        new.persist(&self.0).map_err(|error| error.error)?;
        File::open(folder)?.sync_all()
    }
}
