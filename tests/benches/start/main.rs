//! How long a gateway takes to start on the ledger of a year of 2,000 stencils: reading all of it,
//! and from a snapshot; beside the bare loop over the ledger's rows, and the script one would write
//! instead. `cargo bench -p stencilward-tests --bench start`. Prints figures; asserts no time.
#![allow(clippy::unwrap_used, reason = "a bench that cannot go on has no figure")]

#[path = "../pages/year.rs"]
#[allow(dead_code, reason = "another bench asks for the names of its machines, too")]
mod year;

use std::path::Path;
use std::process::Command;
use std::time::{Duration, Instant};

use stencilward_config::Configuration;
use stencilward_domain::event::Position;
use stencilward_domain::state::State;
use stencilward_ledger::{Ledger as _, SqliteLedger};
use stencilward_service::gateway::{DRAIN, Gateway};
use stencilward_tests::python;

const ROUNDS: usize = 3;

#[tokio::main]
async fn main() {
    let folder = tempfile::tempdir().unwrap();
    let text = year::configuration() + "listen: 127.0.0.1:0\n";
    let mut configuration = stencilward_config::parse("plant.yaml", &text).unwrap();
    configuration.ledger = folder.path().join("plant.db");
    let snapshot = folder.path().join("plant.db.snapshot");
    let events = year::write(&configuration).await;
    println!("figure start.events {events}");
    copied(&configuration.ledger).await;
    for _ in 0..ROUNDS {
        println!("figure start.raw {:.2} s", raw(&configuration.ledger).as_secs_f64());
        if let Some(seconds) = by_script(&configuration.ledger) {
            println!("figure start.script {seconds:.2} s");
        }
        let _ = std::fs::remove_file(&snapshot);
        start(&configuration, "whole").await;
        start(&configuration, "snapshot").await;
    }
    let bytes = std::fs::metadata(&snapshot).unwrap().len();
    println!("figure start.snapshot.size {bytes} bytes");
}

/// Starts a gateway and stops it in order, which leaves a snapshot.
async fn start(configuration: &Configuration, from: &str) {
    let begun = Instant::now();
    let gateway = Gateway::start(configuration).await.unwrap();
    println!("figure start.{from} {:.2} s", begun.elapsed().as_secs_f64());
    let begun = Instant::now();
    gateway.stop(DRAIN).await.unwrap();
    println!("figure start.{from}.stop {:.2} s", begun.elapsed().as_secs_f64());
}

/// For how long the site task stands still while its state is copied for a snapshot.
async fn copied(ledger: &Path) {
    let ledger = SqliteLedger::open(ledger).unwrap();
    let (mut state, mut at) = (State::default(), Position(0));
    loop {
        let page = ledger.read(at, 10_000).await.unwrap();
        let Some(last) = page.last() else { break };
        at = last.recorded.position;
        page.iter().for_each(|entry| state.apply(&entry.recorded));
    }
    for _ in 0..ROUNDS {
        let begun = Instant::now();
        let copy = std::hint::black_box(state.clone());
        println!("figure start.copy {:.2} ms", begun.elapsed().as_secs_f64() * 1e3);
        drop(copy);
    }
    ledger.close().await;
}

/// Every row's body as it lies there, and nothing made of it.
fn raw(ledger: &Path) -> Duration {
    let begun = Instant::now();
    let file = rusqlite::Connection::open(ledger).unwrap();
    let mut rows = file.prepare("SELECT body, hash FROM event ORDER BY position").unwrap();
    let mut rows = rows.query([]).unwrap();
    let mut bytes = 0;
    while let Some(row) = rows.next().unwrap() {
        bytes += row.get_ref(0).unwrap().as_bytes().unwrap().len();
    }
    assert!(bytes > 0);
    begun.elapsed()
}

fn by_script(ledger: &Path) -> Option<f64> {
    let output = Command::new(python::for_peers()?)
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/benches/start/script.py"))
        .arg(ledger)
        .output()
        .unwrap();
    assert!(output.status.success(), "{}", String::from_utf8_lossy(&output.stderr));
    String::from_utf8(output.stdout).unwrap().trim().parse().ok()
}
