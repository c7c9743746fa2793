//! Backups taken while the gateway books as fast as it can: each is a true beginning of the ledger,
//! is brought back whole, and refuses to be when it was damaged.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper that cannot go on fails the test")]

use std::net::SocketAddr;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};
use std::time::Duration;

use serde_json::json;
use stencilward_domain::event::Event;
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::wait::eventually;
use stencilward_tests::{http, ledger_read};
use tempfile::TempDir;

const LIMIT: Duration = Duration::from_secs(30);
const BACKUPS: usize = 4;

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

    fn restore(&self, backup: &Path, more: &[&str]) -> Output {
        self.command("restore").arg(backup).args(more).output().unwrap()
    }
}

fn said(output: &Output) -> String {
    String::from_utf8_lossy(&output.stdout).into_owned() + &String::from_utf8_lossy(&output.stderr)
}

/// Books strokes by hand, one after the other, until told to stop.
async fn book(address: SocketAddr, booked: Arc<AtomicU64>, stop: Arc<AtomicBool>) {
    let body = json!({ "machine": "printer", "strokes": 1, "by": "the test", "why": "load" });
    while !stop.load(Ordering::Relaxed) {
        let answer = http::post(address, "/api/v1/stencils/ST-1/strokes", &body).await.unwrap();
        assert_eq!(answer.status, 200, "{}", answer.body);
        booked.fetch_add(1, Ordering::Relaxed);
    }
}

fn strokes(events: &[Event]) -> u64 {
    let counts = events.iter().map(|event| match event {
        Event::StrokesBooked { count, .. } => *count,
        _ => 0,
    });
    counts.sum()
}

#[tokio::test(flavor = "multi_thread", worker_threads = 4)]
async fn a_backup_under_full_load_is_a_true_beginning() {
    let plant = Plant::new();
    let mut gateway = plant.run().await;
    let (booked, stop) = (Arc::new(AtomicU64::new(0)), Arc::new(AtomicBool::new(false)));
    let load: Vec<_> = (0..8)
        .map(|_| tokio::spawn(book(plant.address, Arc::clone(&booked), Arc::clone(&stop))))
        .collect();
    let mut known = Vec::new();
    for count in 0..BACKUPS {
        let target = 200 * (count as u64 + 1);
        let enough = async || {
            let now = booked.load(Ordering::Relaxed);
            if now >= target { Ok(now) } else { Err(now) }
        };
        let before = eventually("strokes booked", LIMIT, enough).await;
        let mut command = plant.command("backup");
        command.arg(plant.path(&format!("kept-{count}")));
        let output = tokio::task::spawn_blocking(move || command.output().unwrap()).await.unwrap();
        assert!(output.status.success(), "{}", said(&output));
        known.push((before, booked.load(Ordering::Relaxed)));
    }
    stop.store(true, Ordering::Relaxed);
    for one in load {
        one.await.unwrap();
    }
    let total = booked.load(Ordering::Relaxed);
    gateway.stop();
    let whole = ledger_read::recorded(&plant.path("plant.db")).await;
    for (count, (before, after)) in known.into_iter().enumerate() {
        let kept = std::fs::read_dir(plant.path(&format!("kept-{count}"))).unwrap();
        let kept: Vec<PathBuf> = kept.map(|entry| entry.unwrap().path()).collect();
        let [backup] = kept.as_slice() else { panic!("{kept:?}") };
        let other = Plant::new();
        let output = other.restore(backup, &[]);
        assert!(output.status.success(), "{}", said(&output));
        let restored = ledger_read::recorded(&other.path("plant.db")).await;
        assert_eq!(restored, whole[..restored.len()], "a beginning of the whole ledger");
        let events: Vec<Event> = restored.into_iter().map(|one| one.fact.event).collect();
        let strokes = strokes(&events);
        // What was answered when it began is in it; of what was under way some may be.
        assert!((before..=after + 8).contains(&strokes), "{before} <= {strokes} <= {after}");
        let mut gateway = other.run().await;
        let view = http::get(other.address, "/api/v1/stencils/ST-1").await.unwrap().json();
        assert_eq!(view["strokes"], strokes);
        gateway.stop();
    }
    assert_eq!(strokes(&ledger_read::events(&plant.path("plant.db")).await), total);
}

#[tokio::test]
async fn what_is_there_or_damaged_is_not_brought_back() {
    let plant = Plant::new();
    let mut gateway = plant.run().await;
    let folder = plant.path("kept");
    let output = plant.command("backup").arg(&folder).output().unwrap();
    assert!(output.status.success(), "{}", said(&output));
    let backup = std::fs::read_dir(&folder).unwrap().next().unwrap().unwrap().path();

    let refused = plant.restore(&backup, &[]);
    assert!(said(&refused).contains("--replace puts it aside"), "{}", said(&refused));
    let refused = plant.restore(&backup, &["--replace"]);
    assert!(said(&refused).contains("another gateway has this ledger open"), "{}", said(&refused));
    gateway.stop();

    let mut bytes = std::fs::read(&backup).unwrap();
    let at = bytes.windows(8).rposition(|part| part == b"gateway-").or_else(|| {
        bytes.windows(10).rposition(|part| part == b"Invented W").or(Some(bytes.len() - 100))
    });
    bytes[at.unwrap()] ^= 1;
    let damaged = plant.path("damaged.db");
    std::fs::write(&damaged, bytes).unwrap();
    let before = std::fs::read(plant.path("plant.db")).unwrap();
    let refused = plant.restore(&damaged, &["--replace"]);
    assert!(!refused.status.success(), "{}", said(&refused));
    assert_eq!(std::fs::read(plant.path("plant.db")).unwrap(), before, "nothing was changed");

    let done = plant.restore(&backup, &["--replace"]);
    assert!(done.status.success(), "{}", said(&done));
    let mut gateway = plant.run().await;
    gateway.stop();
    ledger_read::events(&plant.path("plant.db")).await;
}

/// Who may sign in is brought back with the ledger, for the gateway's user alone.
#[test]
fn people_come_back_with_the_ledger() {
    use std::os::unix::fs::MetadataExt as _;
    let plant = Plant::new();
    let admit = |plant: &Plant| {
        let mut command = plant.command("people");
        command.args(["admit", "Anna", "--role", "manager", "--by", "test", "--why", "to see"]);
        said(&command.output().unwrap())
    };
    let told = admit(&plant);
    assert!(plant.path("plant.people.json").exists(), "{told}");
    std::fs::remove_file(plant.path("plant.db")).ok();
    let ledger = stencilward_ledger_of(&plant);
    let output = plant.command("backup").arg(plant.path("kept")).output().unwrap();
    assert!(output.status.success(), "{}", said(&output));
    let kept = std::fs::read_dir(plant.path("kept")).unwrap();
    let backup =
        kept.map(|entry| entry.unwrap().path()).find(|path| path.extension().unwrap() == "db");
    let other = Plant::new();
    let output = other.restore(&backup.unwrap(), &[]);
    assert!(output.status.success(), "{}", said(&output));
    let people = std::fs::metadata(other.path("plant.people.json")).unwrap();
    assert_eq!(people.mode() & 0o777, 0o600);
    let shown = said(&other.command("people").output().unwrap());
    assert!(shown.contains("Anna"), "{shown}");
    drop(ledger);
}

/// A ledger of its own, so that there is something to copy.
fn stencilward_ledger_of(plant: &Plant) -> stencilward_ledger::SqliteLedger {
    stencilward_ledger::SqliteLedger::open(&plant.path("plant.db")).unwrap()
}
