//! `stencilward restore FILE BACKUP`: brings a backup back while no gateway runs.

use std::ffi::OsString;
use std::fs::{self, File};
use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context as _;
use stencilward_ledger::AtRest;
use stencilward_web::PeopleFile;

use super::backup::{brought_back, clear};

/// What unfinished copies are called, so that the next one knows them.
const UNFINISHED: &str = ".unfinished-restore-";

/// What to bring back.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The configuration file.
    file: PathBuf,
    /// The backup's ledger.
    backup: PathBuf,
    /// Put aside the ledger that is there.
    #[arg(long)]
    replace: bool,
}

/// Brings a backup back, or says what was not.
pub(super) fn restore(arguments: &Arguments) -> ExitCode {
    let configuration = match super::load(&arguments.file) {
        Ok(configuration) => configuration,
        Err(status) => return status,
    };
    let (ledger, backup) = (&configuration.ledger, &arguments.backup);
    let told = match bring_back(ledger, backup, arguments.replace) {
        Ok(told) => told,
        Err(error) => {
            eprintln!("nothing was brought back: {error:#}");
            return ExitCode::FAILURE;
        }
    };
    println!("{told}");
    if let Err(error) = people_too(ledger, backup) {
        eprintln!(
            "the ledger was brought back, the people who sign in were not: {error:#}; copy {} to \
             {}, for the gateway's user alone, before the gateway starts",
            PeopleFile::beside(backup).path().display(),
            PeopleFile::beside(ledger).path().display()
        );
        return ExitCode::FAILURE;
    }
    ExitCode::SUCCESS
}

fn bring_back(ledger: &Path, backup: &Path, replace: bool) -> anyhow::Result<String> {
    super::must_own(ledger)?;
    anyhow::ensure!(backup.is_file(), "there is no backup {}: name its .db file", backup.display());
    if ledger.exists() {
        let itself = fs::canonicalize(ledger)? == fs::canonicalize(backup)?;
        anyhow::ensure!(!itself, "{} is the ledger itself: name a backup", backup.display());
        anyhow::ensure!(replace, "{} is there: --replace puts it aside", ledger.display());
    }
    PeopleFile::beside(backup).read().context("the backup's people cannot be read")?;
    let rest = AtRest::keep(ledger)?;
    let folder = ledger.parent().filter(|folder| !folder.as_os_str().is_empty());
    let folder = folder.unwrap_or(Path::new("."));
    clear(folder, UNFINISHED)?;
    let making = tempfile::Builder::new().prefix(UNFINISHED).tempdir_in(folder)?;
    let copy = making.path().join("copy.db");
    let whole = brought_back(backup, &copy, folder)?;
    if ledger.exists() {
        put_aside(&rest, ledger)?;
    }
    fs::rename(&copy, ledger)?;
    File::open(folder)?.sync_all()?;
    Ok(format!(
        "{} has {whole}. Strokes made since are read from the machines' totals once the gateway \
         runs; what people did since must be done again.",
        ledger.display()
    ))
}

/// Keeps the ledger that is there under a name that says when, too. It also keeps its own until
/// another takes that in one step: whoever is killed in between leaves one of the two, never none.
fn put_aside(rest: &AtRest, ledger: &Path) -> anyhow::Result<()> {
    let now = jiff::Timestamp::now().strftime("%Y%m%dT%H%M%S.%3fZ");
    let aside = ledger.with_extension(format!("before-{now}.db"));
    let keep = |from: &Path, to: &Path| {
        fs::hard_link(from, to)
            .with_context(|| format!("{} cannot be kept as {}", from.display(), to.display()))
    };
    let folded = rest.fold();
    keep(ledger, &aside)?;
    let people = PeopleFile::beside(ledger);
    if people.path().exists() {
        keep(people.path(), PeopleFile::beside(&aside).path())?;
    }
    // A log that cannot be folded in belongs to the damaged file, and must not meet the new one.
    let log = with_end(ledger, "-wal");
    if log.exists() {
        keep(&log, &with_end(&aside, "-wal"))?;
        fs::remove_file(&log)?;
    }
    let damage =
        folded.map_or_else(|error| format!(" as it lies there ({error})"), |()| String::new());
    eprintln!("the ledger that was there is kept{damage} as {}", aside.display());
    Ok(())
}

fn with_end(path: &Path, end: &str) -> PathBuf {
    let mut name: OsString = path.as_os_str().to_owned();
    name.push(end);
    PathBuf::from(name)
}

fn people_too(ledger: &Path, backup: &Path) -> anyhow::Result<()> {
    let (from, to) = (PeopleFile::beside(backup), PeopleFile::beside(ledger));
    if from.path().exists() {
        from.copy_to(&to)?;
    }
    Ok(())
}
