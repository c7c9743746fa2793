//! The file of a snapshot: a line of JSON that says of what it is, and one with the rest.

use std::fs::File;
use std::io::{self, Write as _};
use std::os::unix::fs::OpenOptionsExt as _;
use std::path::Path;

use serde::{Deserialize, Serialize};
use sha2::{Digest as _, Sha256};
use stencilward_domain::event::Position;
use stencilward_ledger::{Ledger, LedgerError};

use super::Snapshot;

/// The hash of this program's rules.
const RULES: &str = env!("STENCILWARD_RULES");

/// Of what a snapshot is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(super) struct Head {
    /// The hash of the rules that made it.
    pub(super) rules: String,
    /// The last event in it.
    pub(super) position: Position,
    /// That event's hash in the ledger's chain, in hexadecimal; none when the ledger has no such
    /// event.
    pub(super) hash: Option<String>,
}

impl Head {
    /// Of what a snapshot of this ledger at this place would be.
    pub(super) async fn of(ledger: &dyn Ledger, position: Position) -> Result<Self, LedgerError> {
        let before = Position(position.0.saturating_sub(1));
        let entry = ledger.read(before, 1).await?.pop();
        let entry = entry.filter(|entry| entry.recorded.position == position);
        let hash = entry.map(|entry| hexadecimal(&entry.hash));
        Ok(Self { rules: RULES.to_owned(), position, hash })
    }
}

#[derive(Serialize, Deserialize)]
struct Line {
    #[serde(flatten)]
    head: Head,
    /// SHA-256 of what follows, in hexadecimal.
    sha256: String,
}

/// Why a file is no snapshot.
#[derive(Debug, thiserror::Error)]
pub(super) enum Unreadable {
    #[error("it cannot be read")]
    Disk(#[from] io::Error),
    #[error("it is no snapshot")]
    Json(#[from] serde_json::Error),
    #[error("it is damaged")]
    Damaged,
    #[error("another version's rules made it")]
    OtherRules,
}

/// What is in this file; none when there is none.
pub(super) fn read(file: &Path) -> Result<Option<(Head, Snapshot)>, Unreadable> {
    let content = match std::fs::read(file) {
        Err(error) if error.kind() == io::ErrorKind::NotFound => return Ok(None),
        content => content?,
    };
    let end = content.iter().position(|byte| *byte == b'\n').ok_or(Unreadable::Damaged)?;
    let (line, rest) = (&content[..end], &content[end + 1..]);
    let Line { head, sha256 } = serde_json::from_slice(line)?;
    // Before the rest, which other rules may have written otherwise.
    if head.rules != RULES {
        return Err(Unreadable::OtherRules);
    }
    if hexadecimal(&Sha256::digest(rest)) != sha256 {
        return Err(Unreadable::Damaged);
    }
    let snapshot: Snapshot = serde_json::from_slice(rest)?;
    if snapshot.position() != head.position {
        return Err(Unreadable::Damaged);
    }
    Ok(Some((head, snapshot)))
}

/// Puts a snapshot there, whole or not at all.
pub(super) fn write(file: &Path, head: Head, snapshot: &Snapshot) -> io::Result<()> {
    let rest = serde_json::to_vec(snapshot)?;
    let line = Line { head, sha256: hexadecimal(&Sha256::digest(&rest)) };
    let unfinished = file.with_extension("unfinished");
    let mut new = File::options();
    let mut new = new.write(true).create(true).truncate(true).mode(0o600).open(&unfinished)?;
    new.write_all(&serde_json::to_vec(&line)?)?;
    new.write_all(b"\n")?;
    new.write_all(&rest)?;
    new.sync_all()?;
    std::fs::rename(unfinished, file)
}

fn hexadecimal(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x}")).collect()
}
