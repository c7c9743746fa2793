//! Backups taken while the gateway books as fast as it can: each is a true beginning of the ledger,
//! and is brought back whole.

use std::net::SocketAddr;
use std::path::PathBuf;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, Ordering};

use serde_json::json;
use stencilward_domain::event::Event;
use stencilward_tests::wait::eventually;
use stencilward_tests::{http, ledger_read};

use super::{LIMIT, Plant, said};

const BACKUPS: usize = 4;

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
        let count = format!("{} events, whole", restored.len());
        assert!(said(&output).contains(&count), "{}", said(&output));
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
