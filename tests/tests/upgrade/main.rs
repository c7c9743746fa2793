//! Ledgers that programs of the first schema wrote: each event is kept byte for byte, the state is
//! what it was, and whatever fails in between leaves the old ledger.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper that cannot go on fails the test")]

mod cut_short;
mod kept;
mod old;

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use rusqlite::Connection;
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::{missing, root};
use tempfile::TempDir;

const LIMIT: Duration = Duration::from_secs(30);

/// An old ledger where today's program finds it.
struct Plant {
    folder: TempDir,
    address: SocketAddr,
}

impl Plant {
    fn with(ledger: &Path) -> Self {
        let (folder, port) = (tempfile::tempdir().unwrap(), free_port());
        let text = std::fs::read_to_string(old::folder().join("plant.yaml")).unwrap();
        let text = text.replace("PORT", &port.to_string());
        std::fs::write(folder.path().join("plant.yaml"), text).unwrap();
        let plant = Self { folder, address: ([127, 0, 0, 1], port).into() };
        std::fs::copy(ledger, plant.ledger()).unwrap();
        plant
    }

    fn ledger(&self) -> PathBuf {
        self.folder.path().join("plant.db")
    }

    fn command(&self, name: &str) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
        command.arg(name).arg(self.folder.path().join("plant.yaml"));
        command
    }

    async fn run(&self) -> Child {
        let mut gateway = Child::start(&self.command("run"));
        gateway.line("that it runs", LIMIT, |line| line.contains("running").then_some(())).await;
        gateway
    }
}

/// An event as it lies in the file.
type Row = (i64, String, i64, Vec<u8>, String, Vec<u8>);

/// Every event of a file, whatever its schema.
fn rows(ledger: &Path) -> Vec<Row> {
    let file = Connection::open(ledger).unwrap();
    let query = "SELECT position, stream, version, batch, body, hash FROM event ORDER BY position";
    let mut query = file.prepare(query).unwrap();
    let row = |row: &rusqlite::Row<'_>| {
        Ok((row.get(0)?, row.get(1)?, row.get(2)?, row.get(3)?, row.get(4)?, row.get(5)?))
    };
    query.query_map([], row).unwrap().map(Result::unwrap).collect()
}

/// Its schema, and whether it has the table that schema 2 added first.
fn schema(ledger: &Path) -> (i64, bool) {
    let file = Connection::open(ledger).unwrap();
    let owed = "SELECT count(*) FROM sqlite_schema WHERE type = 'table' AND name = 'owed'";
    let number = |query: &str| file.query_row(query, [], |row| row.get(0)).unwrap();
    (number("PRAGMA user_version"), number(owed) == 1)
}

/// What the script says with which an auditor goes along the chain by hand; it shares no code
/// with the gateway. None, said aloud, where there is no Python.
fn walked(ledger: &Path) -> Option<String> {
    let python = missing::program("python3", "Debian package python3")?;
    let page = std::fs::read_to_string(root().join("gateway/ledger/README.md")).unwrap();
    let (_, script) = page.split_once("```python\n").unwrap();
    let (script, _) = script.split_once("```").unwrap();
    let output = Command::new(python).args(["-c", script]).arg(ledger).output().unwrap();
    let told = [output.stdout, output.stderr].concat();
    Some(String::from_utf8(told).unwrap().trim().to_owned())
}
