//! A plant with a past: its ledger was written by the gateway's own rules, a stroke booked by hand
//! each hour up to an hour ago.

use std::collections::HashMap;
use std::net::SocketAddr;
use std::os::unix::fs::PermissionsExt as _;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::time::{Duration, SystemTime};

use stencilward_domain::event::Recorded;
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::site::{Request, Site};
use stencilward_domain::time::Timestamp;
use stencilward_ledger::{Append, BatchId, Ledger as _, SqliteLedger};
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::http;
use tempfile::TempDir;

pub(crate) const LIMIT: Duration = Duration::from_secs(30);

/// Strokes in its past.
pub(crate) const STROKES: u64 = 24 * 40;

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

pub(crate) struct Plant {
    folder: TempDir,
    pub(crate) address: SocketAddr,
}

impl Plant {
    /// One without a past; `more` is added to its configuration.
    pub(crate) fn new(more: &str) -> Self {
        let (folder, port) = (tempfile::tempdir().unwrap(), free_port());
        let text = CONFIGURATION.replace("PORT", &port.to_string()) + more;
        std::fs::write(folder.path().join("plant.yaml"), text).unwrap();
        Self { folder, address: ([127, 0, 0, 1], port).into() }
    }

    /// One with a past of forty days.
    pub(crate) async fn with_past(more: &str) -> Self {
        let plant = Self::new(more);
        let configuration = stencilward_config::load(&plant.path("plant.yaml")).unwrap();
        let mut site = Site::new(configuration.plant());
        let hours = |count: u64| hours_ago(STROKES - count);
        site.start("before", hours(0));
        for count in 0..STROKES {
            let request = Request::Enter {
                stencil: StencilCode::new("ST-1").unwrap(),
                machine: MachineName::new("printer").unwrap(),
                strokes: 1,
                by: "the test".to_owned(),
                why: "a past".to_owned(),
            };
            site.ask(&request, hours(count));
        }
        site.stop(hours_ago(1));
        keep(&plant.path("plant.db"), site.take_fresh()).await;
        plant
    }

    pub(crate) fn path(&self, name: &str) -> PathBuf {
        self.folder.path().join(name)
    }

    pub(crate) fn command(&self, name: &str) -> Command {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
        command.arg(name).arg(self.path("plant.yaml"));
        command
    }

    /// What the command says; it must succeed.
    pub(crate) fn done(&self, name: &str, more: &[&str]) -> String {
        let output = self.command(name).args(more).output().unwrap();
        assert!(output.status.success(), "{}", said(&output));
        said(&output)
    }

    /// What the command says; it must fail.
    pub(crate) fn refused(&self, name: &str, more: &[&str]) -> String {
        let output = self.command(name).args(more).output().unwrap();
        assert!(!output.status.success(), "{}", said(&output));
        said(&output)
    }

    pub(crate) async fn run(&self) -> Child {
        let mut gateway = Child::start(&self.command("run"));
        gateway.line("that it runs", LIMIT, |line| line.contains("running").then_some(())).await;
        gateway
    }

    pub(crate) async fn strokes(&self) -> u64 {
        let view = http::get(self.address, "/api/v1/stencils/ST-1").await.unwrap().json();
        view["strokes"].as_u64().unwrap()
    }

    /// The files in its archive, by name.
    pub(crate) fn parts(&self) -> Vec<PathBuf> {
        parts_in(&self.path("plant.archive"))
    }
}

pub(crate) fn parts_in(folder: &Path) -> Vec<PathBuf> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let mut files: Vec<PathBuf> = entries.map(|entry| entry.unwrap().path()).collect();
    files.sort();
    files
}

/// Changes two bytes within the events of a part.
pub(crate) fn damage(part: &Path) {
    let mut mode = std::fs::metadata(part).unwrap().permissions();
    mode.set_mode(0o644);
    std::fs::set_permissions(part, mode).unwrap();
    let edit = "UPDATE block SET events =
        CAST(substr(events, 1, 200) || x'00ff' || substr(events, 203) AS BLOB)";
    assert_eq!(rusqlite::Connection::open(part).unwrap().execute(edit, []).unwrap(), 1);
}

pub(crate) fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

fn hours_ago(hours: u64) -> Timestamp {
    let now = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap();
    Timestamp(i64::try_from(now.as_millis()).unwrap()).minus(Duration::from_secs(3_600 * hours))
}

async fn keep(file: &Path, events: Vec<Recorded>) {
    let ledger = SqliteLedger::open(file).unwrap();
    let mut versions = HashMap::new();
    let appends = events.into_iter().map(|Recorded { fact, position }| {
        let stream = fact.event.stream();
        let version: &mut u64 = versions.entry(stream.clone()).or_default();
        let (expected, batch) = (*version, BatchId(u128::from(position.0).to_be_bytes()));
        *version += 1;
        Append { stream, expected, batch, facts: vec![fact] }
    });
    for kept in ledger.append(appends.collect()).await.unwrap() {
        kept.unwrap();
    }
    ledger.close().await;
}
