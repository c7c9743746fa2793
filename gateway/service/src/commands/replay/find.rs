//! The recordings in what was named.

use std::fs::{self, File};
use std::io::Read as _;
use std::path::{Path, PathBuf};

/// How a recording begins.
const BEGINNING: &[u8] = br#"{"stencilward-recording":"#;

/// The files that were named, and the recordings directly in each folder that was, by name.
pub(super) fn recordings(named: &[PathBuf]) -> Result<Vec<PathBuf>, String> {
    let mut found = Vec::new();
    for path in named {
        if path.is_dir() {
            let mut inside = within(path)
                .map_err(|error| format!("{}: cannot be read ({error})", path.display()))?;
            if inside.is_empty() {
                return Err(format!("{}: no recording lies in this folder", path.display()));
            }
            inside.sort();
            found.extend(inside);
        } else {
            found.push(path.clone());
        }
    }
    Ok(found)
}

fn within(folder: &Path) -> std::io::Result<Vec<PathBuf>> {
    let entries: Result<Vec<_>, _> = fs::read_dir(folder)?.collect();
    let files = entries?.into_iter().map(|entry| entry.path()).filter(|path| path.is_file());
    Ok(files.filter(|file| begins_as_one(file)).collect())
}

fn begins_as_one(file: &Path) -> bool {
    let mut beginning = Vec::new();
    let read = File::open(file)
        .and_then(|file| file.take(BEGINNING.len() as u64).read_to_end(&mut beginning));
    read.is_ok() && beginning == BEGINNING
}
