//! `stencilward backup FILE FOLDER`: a copy of the ledger and its people, taken while the gateway
//! runs.

mod parts;

use std::fs::{self, File, TryLockError};
use std::io;
use std::os::unix::fs::MetadataExt as _;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context as _;
use stencilward_domain::event::Position;
use stencilward_ledger::{Reader, Verified};
use stencilward_web::PeopleFile;

/// What unfinished backups are called, so that the next one knows them.
const UNFINISHED: &str = ".unfinished-backup-";

/// What to copy, and where to.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The configuration file.
    file: PathBuf,
    /// The folder in which backups are kept, on another disk.
    folder: PathBuf,
}

/// Takes a backup, or says why there is none.
pub(super) fn backup(arguments: &Arguments) -> ExitCode {
    let configuration = match super::load(&arguments.file) {
        Ok(configuration) => configuration,
        Err(status) => return status,
    };
    match take(&configuration.ledger, &arguments.folder) {
        Ok(told) => {
            println!("{told}");
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("no backup was taken: {error:#}");
            ExitCode::FAILURE
        }
    }
}

fn take(ledger: &Path, folder: &Path) -> anyhow::Result<String> {
    fs::create_dir_all(folder)
        .with_context(|| format!("{} cannot be made: name another folder", folder.display()))?;
    let _turn = turn(folder)?;
    let stem = ledger.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let now = jiff::Timestamp::now().strftime("%Y%m%dT%H%M%SZ");
    let kept = folder.join(format!("{stem}-{now}.db"));
    anyhow::ensure!(!kept.exists(), "{} is there already: wait a second", kept.display());
    // Whatever ends this early leaves nothing that looks like a backup.
    let making = tempfile::Builder::new().prefix(UNFINISHED).tempdir_in(folder)?;
    let copy = making.path().join("copy.db");
    Reader::open(ledger)?.copy_to(&copy)?;
    parts::keep(ledger, &copy, folder)?;
    let whole = checked(&copy)?;
    let (people, others) = (PeopleFile::beside(ledger), PeopleFile::beside(&kept));
    if people.path().exists() {
        people.copy_to(&others).context("the people who sign in were not copied")?;
    }
    fs::rename(&copy, &kept)
        .and_then(|()| File::open(folder)?.sync_all())
        .inspect_err(|_| drop(fs::remove_file(others.path())))?;
    if fs::metadata(ledger)?.dev() == fs::metadata(folder)?.dev() {
        eprintln!("this is the ledger's own disk: what ends the one ends the other");
    }
    Ok(format!(
        "{} has {whole}: noted elsewhere, it shows later that none was cut off.",
        kept.display()
    ))
}

/// One backup at a time takes its turn in a folder, and clears away what a killed one left.
fn turn(folder: &Path) -> anyhow::Result<Option<File>> {
    let lock = File::open(folder)?;
    match lock.try_lock() {
        Ok(()) => {}
        Err(TryLockError::WouldBlock) => {
            anyhow::bail!("another backup is being taken into {}: let it end", folder.display())
        }
        // A share without locks: whether the others are at work cannot be known.
        Err(TryLockError::Error(_)) => return Ok(None),
    }
    clear(folder, UNFINISHED)?;
    Ok(Some(lock))
}

/// Removes the folders with this beginning, in which something was being made.
pub(super) fn clear(folder: &Path, beginning: &str) -> io::Result<()> {
    for entry in fs::read_dir(folder)? {
        let entry = entry?;
        if entry.file_name().to_string_lossy().starts_with(beginning) {
            fs::remove_dir_all(entry.path())?;
        }
    }
    Ok(())
}

/// Copies a backup with its parts for a ledger in this folder, at its own schema, and sees that
/// it is whole. Gives what is to be said of it.
pub(super) fn brought_back(backup: &Path, copy: &Path, folder: &Path) -> anyhow::Result<String> {
    Reader::open(backup)?.copy_to(copy)?;
    parts::bring_back(backup, folder)?;
    checked(copy)
}

/// Goes along the chain of a copy whose parts have been checked, one by one.
fn checked(copy: &Path) -> anyhow::Result<String> {
    let mut told = Position(0);
    let verified = Reader::open(copy)?.verify(|at| {
        if at.0 - told.0 >= 1_000_000 {
            told = at;
            eprintln!("{} events are whole so far", at.0);
        }
    })?;
    match verified {
        Verified::Whole { head, hash } => {
            let hash: String = hash.iter().map(|byte| format!("{byte:02x}")).collect();
            Ok(format!("{} events, whole; the last one's hash is {hash}", head.0))
        }
        Verified::Broken { at } => {
            anyhow::bail!("event {at} does not fit the ones before it: use another backup")
        }
    }
}
