//! Backups: taken under load, brought back, and both in bad times.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper that cannot go on fails the test")]

mod bad_times;
mod bringing_back;
mod under_load;

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::Duration;

use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use tempfile::TempDir;

const LIMIT: Duration = Duration::from_secs(30);

const CONFIGURATION: &str = "
site: Invented Works
listen: 127.0.0.1:PORT
ledger: plant.db
stencils: [{ code: ST-1, rated-strokes: 100000000, clean: true }]
machines:
  - name: printer
    kind: printer
    fastest-cycle: 1s
    modbus:
      address: 127.0.0.1:1
      points: [{ signal: stroke-total, table: input, at: 0, type: u16 }]
";

struct Plant {
    folder: TempDir,
    address: SocketAddr,
}

impl Plant {
    fn new() -> Self {
        let (folder, port) = (tempfile::tempdir().unwrap(), free_port());
        let text = CONFIGURATION.replace("PORT", &port.to_string());
        std::fs::write(folder.path().join("plant.yaml"), text).unwrap();
        Self { folder, address: ([127, 0, 0, 1], port).into() }
    }

    fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    fn command(&self, name: &str) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
        command.arg(name).arg(self.path("plant.yaml"));
        command
    }

    async fn run(&self) -> Child {
        let mut gateway = Child::start(&self.command("run"));
        gateway.line("that it runs", LIMIT, |line| line.contains("running").then_some(())).await;
        gateway
    }

    /// Takes a backup into a folder beside the ledger, and gives its name.
    fn back_up(&self) -> PathBuf {
        let folder = self.path("kept");
        let output = self.command("backup").arg(&folder).output().unwrap();
        assert!(output.status.success(), "{}", said(&output));
        let [backup] = backups(&folder).try_into().unwrap();
        backup
    }

    fn restore(&self, backup: &Path, more: &[&str]) -> Output {
        self.command("restore").arg(backup).args(more).output().unwrap()
    }
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// What lies in a folder and has the name of a backup.
fn backups(folder: &Path) -> Vec<PathBuf> {
    names(folder)
        .into_iter()
        .filter(|path| path.extension().is_some_and(|ext| ext == "db"))
        .collect()
}

/// Everything that lies in a folder; nothing when it is not there.
fn names(folder: &Path) -> Vec<PathBuf> {
    let entries = std::fs::read_dir(folder).into_iter().flatten();
    entries.map(|entry| entry.unwrap().path()).collect()
}
