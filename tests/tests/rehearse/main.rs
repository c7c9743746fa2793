//! Rehearsals as their user sees them: the program itself, a file, and lines that are typed.

// clippy.toml allows it in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::panic)]

mod commanded;
mod edge_nodes;
mod endpoints;
mod faults;
mod files;
mod wirings;

use std::path::Path;
use std::process::Command;
use std::time::Duration;

use stencilward_tests::child::Child;

/// Long enough for anything on a machine that does other things, too.
const LIMIT: Duration = Duration::from_secs(150);

/// Rehearses a file.
fn rehearse(file: &Path, arguments: &[&str]) -> Child {
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.arg("rehearse").arg(file).args(arguments);
    Child::start(&command)
}

/// Writes a file and rehearses it.
fn rehearse_text(folder: &Path, text: &str, arguments: &[&str]) -> Child {
    let file = folder.join("plant.yaml");
    std::fs::write(&file, text).expect("a file");
    rehearse(&file, arguments)
}

/// Waits for a line with all these parts.
async fn hear(child: &mut Child, parts: &[&str]) -> String {
    let has_all = |line: &str| parts.iter().all(|part| line.contains(part));
    let pick = |line: &str| has_all(line).then(|| line.to_owned());
    child.line(&parts.join(" .. "), LIMIT, pick).await
}

/// What the comparison says of something: of the machines, and of the ledger.
fn compared(told: &str, what: &str) -> (u64, u64) {
    let row = told.lines().find_map(|line| line.strip_prefix(what));
    let row = row.unwrap_or_else(|| panic!("no {what:?} in:\n{told}"));
    let mut numbers = row.split_whitespace().filter_map(|word| word.parse().ok());
    match (numbers.next(), numbers.next()) {
        (Some(machines), Some(ledger)) => (machines, ledger),
        _ => panic!("no numbers in {row:?}"),
    }
}
