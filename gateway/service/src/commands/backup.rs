//! `stencilward backup FILE FOLDER` and `stencilward restore FILE BACKUP`: a copy of the ledger and
//! its people, taken while the gateway runs, and brought back while it does not.

mod parts;

use std::fs;
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context as _;
use stencilward_domain::event::Position;
use stencilward_ledger::{Ledger as _, OpenError, Reader, SqliteLedger, Verified, verify_after};
use stencilward_web::PeopleFile;

/// What to copy, and where to.
#[derive(Debug, clap::Args)]
pub(super) struct Backup {
    /// The configuration file.
    file: PathBuf,
    /// The folder in which backups are kept, on another disk.
    folder: PathBuf,
}

/// What to bring back.
#[derive(Debug, clap::Args)]
pub(super) struct Restore {
    /// The configuration file.
    file: PathBuf,
    /// The backup's ledger.
    backup: PathBuf,
    /// Put aside the ledger that is there.
    #[arg(long)]
    replace: bool,
}

/// The events of a ledger whose chain is whole.
struct Whole {
    events: u64,
    hash: String,
}

/// Takes a backup, or says why there is none.
pub(super) fn backup(arguments: &Backup) -> ExitCode {
    let configuration = match super::load(&arguments.file) {
        Ok(configuration) => configuration,
        Err(status) => return status,
    };
    ended(take(&configuration.ledger, &arguments.folder), "no backup was taken")
}

/// Brings a backup back, or says why nothing was changed.
pub(super) fn restore(arguments: &Restore) -> ExitCode {
    let configuration = match super::load(&arguments.file) {
        Ok(configuration) => configuration,
        Err(status) => return status,
    };
    let done = bring_back(&configuration.ledger, &arguments.backup, arguments.replace);
    ended(done, "nothing was brought back")
}

fn ended(done: anyhow::Result<String>, failed: &str) -> ExitCode {
    match done {
        Ok(told) => {
            println!("{told}");
            ExitCode::SUCCESS
        }
        Err(error) => {
            eprintln!("{failed}: {error:#}");
            ExitCode::FAILURE
        }
    }
}

fn take(ledger: &Path, folder: &Path) -> anyhow::Result<String> {
    fs::create_dir_all(folder)
        .with_context(|| format!("{} cannot be made: name another folder", folder.display()))?;
    let at = jiff::Timestamp::now().strftime("%Y%m%dT%H%M%SZ");
    let stem = ledger.file_stem().unwrap_or_default().to_string_lossy().into_owned();
    let kept = folder.join(format!("{stem}-{at}.db"));
    anyhow::ensure!(!kept.exists(), "{} is there already: wait a second", kept.display());
    // Whatever ends this early leaves nothing that looks like a backup.
    let making = tempfile::tempdir_in(folder)?;
    let copy = making.path().join("copy.db");
    Reader::open(ledger)?.copy_to(&copy)?;
    parts::keep(ledger, &copy, folder)?;
    let Whole { events, hash } = checked(&copy, folder)?;
    copy_people(ledger, &kept)?;
    fs::rename(&copy, &kept)?;
    fs::File::open(folder)?.sync_all()?;
    Ok(format!(
        "{} has {events} events, whole. The last one's hash is {hash}: noted elsewhere, it shows \
         later that none was cut off.",
        kept.display()
    ))
}

fn bring_back(ledger: &Path, backup: &Path, replace: bool) -> anyhow::Result<String> {
    anyhow::ensure!(backup.is_file(), "there is no backup {}: name its .db file", backup.display());
    let folder = ledger.parent().filter(|folder| !folder.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new("."));
    let making = tempfile::tempdir_in(folder)?;
    let copy = making.path().join("copy.db");
    fs::copy(backup, &copy)?;
    parts::bring_back(backup, folder)?;
    let Whole { events, hash } = checked(&copy, folder)?;
    if ledger.exists() {
        anyhow::ensure!(replace, "{} is there: --replace puts it aside", ledger.display());
        put_aside(ledger)?;
    }
    fs::File::open(&copy)?.sync_all()?;
    fs::rename(&copy, ledger)?;
    copy_people(backup, ledger)?;
    fs::File::open(folder)?.sync_all()?;
    Ok(format!(
        "{} has {events} events, whole; the last one's hash is {hash}. Strokes made since are read \
         from the machines' totals once the gateway runs; what people did since must be done again.",
        ledger.display()
    ))
}

/// Keeps the ledger that is there under a name that says when, too, unless a gateway has it open.
/// It also keeps its own until another takes that in one step: a gateway that starts meanwhile
/// must find one of the two, never none.
fn put_aside(ledger: &Path) -> anyhow::Result<()> {
    match SqliteLedger::open(ledger) {
        // One that lacks a part of its archive may be why a backup is brought back.
        Ok(_) | Err(OpenError::Part(_)) => {}
        Err(error) => return Err(error.into()),
    }
    let at = jiff::Timestamp::now().strftime("%Y%m%dT%H%M%SZ");
    let aside = ledger.with_extension(format!("before-{at}.db"));
    fs::hard_link(ledger, &aside)
        .with_context(|| format!("the ledger cannot be kept as {}", aside.display()))?;
    eprintln!("the ledger that was there is kept as {}", aside.display());
    Ok(())
}

/// Brings the copy's schema up to date, and goes along its whole chain. The parts of its archive
/// have been checked, one by one, and lie where they are looked for from this folder.
fn checked(copy: &Path, folder: &Path) -> anyhow::Result<Whole> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
    runtime.block_on(async {
        let ledger = SqliteLedger::open_beside(copy, folder)?;
        let archived = ledger.parts().await?.last().map_or(Position(0), |part| part.last);
        let mut told = Position(0);
        let verified = verify_after(&ledger, archived, |at| {
            if at.0 - told.0 >= 1_000_000 {
                told = at;
                eprintln!("{at} events are whole so far");
            }
        });
        let verified = verified.await?;
        ledger.close().await;
        match verified {
            Verified::Whole { head, hash } => Ok(Whole {
                events: head.0,
                hash: hash.iter().map(|byte| format!("{byte:02x}")).collect(),
            }),
            Verified::Broken { at } => {
                anyhow::bail!("event {at} does not fit the ones before it: use another backup")
            }
        }
    })
}

/// The people beside one ledger, beside another: for their owner alone.
fn copy_people(from: &Path, to: &Path) -> anyhow::Result<()> {
    let (from, to) = (PeopleFile::beside(from), PeopleFile::beside(to));
    if !from.path().exists() {
        return Ok(());
    }
    from.copy_to(&to).context("the people who sign in were not copied")
}
