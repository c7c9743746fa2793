//! The parts of the ledger's archive in a backup: each is copied once, since it never changes, and
//! read from end to end each time.

use std::fs;
use std::path::Path;

use anyhow::Context as _;
use stencilward_ledger::{Part, Reader, SqliteLedger};

/// Sees that all parts of this ledger lie whole in a folder of the backup's, and notes in its copy
/// that they do.
pub(super) fn keep(ledger: &Path, copy: &Path, folder: &Path) -> anyhow::Result<()> {
    let parts = Reader::open(copy)?.parts()?;
    if parts.is_empty() {
        return Ok(());
    }
    let name = Part::usual_folder(ledger);
    let name = name.file_name().and_then(|name| name.to_str());
    let name = name.context("the ledger's name is no text: name it otherwise")?;
    SqliteLedger::note_parts_in(copy, name)?;
    let from = beside(ledger);
    for (kept, part) in Reader::open(copy)?.parts()?.iter().zip(&parts) {
        provide(&from.join(&part.file), kept, folder)?;
    }
    Ok(())
}

/// Sees that all parts of the backup lie whole where its ledger, in this folder, looks for them.
pub(super) fn bring_back(backup: &Path, folder: &Path) -> anyhow::Result<()> {
    let from = beside(backup);
    for part in Reader::open(backup)?.parts()? {
        provide(&from.join(&part.file), &part, folder)?;
    }
    Ok(())
}

/// Copies the part unless it is there, whole, for a ledger in this folder.
fn provide(from: &Path, part: &Part, folder: &Path) -> anyhow::Result<()> {
    let to = folder.join(&part.file);
    if part.check_in(folder).is_ok() {
        return Ok(());
    }
    let copy = || -> std::io::Result<()> {
        let shelf = to.parent().unwrap_or(folder);
        fs::create_dir_all(shelf)?;
        let copy = tempfile::Builder::new().prefix(".part-").tempfile_in(shelf)?;
        fs::copy(from, copy.path())?;
        copy.as_file().sync_all()?;
        copy.persist(&to)?;
        fs::File::open(shelf)?.sync_all()
    };
    if from != to {
        copy().with_context(|| format!("{} was not copied to {}", part, to.display()))?;
    }
    Ok(part.check_in(folder)?)
}

fn beside(ledger: &Path) -> &Path {
    ledger.parent().unwrap_or(Path::new(""))
}
