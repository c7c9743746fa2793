//! The folder itself. Everything here may block.

use std::fs::{self, File};
use std::io::{self, Read as _};
use std::path::{Path, PathBuf};

use super::decode::{Content, form, kept_name};
use super::watch::Entry;

/// Largest file that is read, in bytes.
pub const LARGEST_FILE: u64 = 8 * 1024 * 1024;
/// Most files looked at in one round; the others have their turn when these are moved away.
const MOST_FILES: usize = 10_000;

/// The folder that files are dropped into, with `done` and `faulty` in it.
#[derive(Debug, Clone)]
pub(super) struct Folder(PathBuf);

/// Where a file goes.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Away {
    /// Its orders are durable.
    Done,
    /// It has faults: this report goes with it.
    Faulty(String),
}

impl Folder {
    pub(super) fn new(path: PathBuf) -> Self {
        Self(path)
    }

    pub(super) fn path(&self) -> &Path {
        &self.0
    }

    /// The lists in the folder, and what else is in the way. Subfolders and links are left alone.
    pub(super) fn list(&self) -> io::Result<(Vec<Entry>, Vec<String>)> {
        let (mut files, mut odd) = (Vec::new(), Vec::new());
        for found in fs::read_dir(&self.0)? {
            let found = found?;
            let name = found.file_name();
            if form(&name.to_string_lossy()).is_none() {
                continue;
            }
            // A file that has just gone is none.
            let Ok(metadata) = found.metadata() else {
                continue;
            };
            if !metadata.is_file() {
                continue;
            }
            match name.into_string() {
                Ok(name) => files.push(entry(name, &metadata)?),
                Err(name) => odd.push(name.to_string_lossy().into_owned()),
            }
            if files.len() == MOST_FILES {
                break;
            }
        }
        for away in ["done", "faulty"] {
            make(&self.0.join(away))?;
        }
        Ok((files, odd))
    }

    /// The content of a file; none when it is no longer as it was listed.
    pub(super) fn read(&self, listed: &Entry) -> io::Result<Option<Content>> {
        if listed.length > LARGEST_FILE {
            return Ok(Some(Content::TooLarge));
        }
        let mut bytes = Vec::new();
        let file = match File::open(self.0.join(&listed.name)) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
            opened => opened?,
        };
        (&file).take(LARGEST_FILE + 1).read_to_end(&mut bytes)?;
        let now = entry(listed.name.clone(), &file.metadata()?)?;
        let whole = now == *listed && bytes.len() as u64 == listed.length;
        Ok(whole.then_some(Content::Whole(bytes)))
    }

    /// Moves a file that was dealt with away. One that has changed since, or is gone, is left.
    pub(super) fn put_away(&self, listed: &Entry, digest: &str, away: &Away) -> io::Result<()> {
        let path = self.0.join(&listed.name);
        let now = match fs::symlink_metadata(&path) {
            Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(()),
            metadata => entry(listed.name.clone(), &metadata?)?,
        };
        if now != *listed {
            return Ok(());
        }
        let kept = kept_name(&listed.name, digest);
        match away {
            Away::Done => fs::rename(path, self.0.join("done").join(kept)),
            Away::Faulty(report) => {
                let faulty = self.0.join("faulty");
                fs::write(faulty.join(format!("{kept}.faults.txt")), report)?;
                fs::rename(path, faulty.join(kept))
            }
        }
    }
}

/// Makes a folder where there is none.
fn make(path: &Path) -> io::Result<()> {
    match fs::create_dir(path) {
        Err(error) if error.kind() == io::ErrorKind::AlreadyExists && path.is_dir() => Ok(()),
        made => made,
    }
}

fn entry(name: String, metadata: &fs::Metadata) -> io::Result<Entry> {
    Ok(Entry { name, length: metadata.len(), modified: metadata.modified()? })
}
