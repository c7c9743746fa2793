//! Gives the program a hash of the rules by which events become state, as `STENCILWARD_RULES`: a
//! state that other rules made is none of ours.

use std::fs;
use std::io;
use std::path::{Path, PathBuf};

use sha2::{Digest as _, Sha256};

/// The rules, how events are read, and what of them is counted.
const RULES: [&str; 4] = ["../domain/src", "../ledger/src", "src/metrics", "src/metrics.rs"];

fn main() -> io::Result<()> {
    let mut files = Vec::new();
    for path in RULES {
        println!("cargo::rerun-if-changed={path}");
        collect(Path::new(path), &mut files)?;
    }
    files.sort();
    let mut hasher = Sha256::new();
    for file in files {
        let content = fs::read(&file)?;
        hasher.update((content.len() as u64).to_be_bytes());
        hasher.update(content);
    }
    let hash: String = hasher.finalize().iter().map(|byte| format!("{byte:02x}")).collect();
    println!("cargo::rustc-env=STENCILWARD_RULES={hash}");
    Ok(())
}

fn collect(path: &Path, files: &mut Vec<PathBuf>) -> io::Result<()> {
    if path.is_dir() {
        for entry in fs::read_dir(path)? {
            collect(&entry?.path(), files)?;
        }
    } else {
        files.push(path.to_owned());
    }
    Ok(())
}
