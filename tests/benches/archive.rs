//! What archiving costs and saves: a year of 2,000 stencils moved out of the ledger's file while
//! appends go on. `cargo bench -p stencilward-tests --bench archive`. Prints figures; asserts no
//! time.
#![allow(clippy::unwrap_used, reason = "a bench that cannot go on has no figure")]

#[path = "pages/year.rs"]
#[allow(dead_code, reason = "another bench asks for the names of its machines, too")]
mod year;

use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use stencilward_domain::event::{Event, Fact, Position, Stream};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::time::Timestamp;
use stencilward_ledger::{Append, BatchId, Ledger, SqliteLedger};

/// Parts of the ledger that is opened with many of them.
const MANY: u64 = 400;

#[tokio::main]
async fn main() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("plant.db");
    let mut configuration =
        stencilward_config::parse("plant.yaml", &year::configuration()).unwrap();
    configuration.ledger.clone_from(&file);
    let events = year::write(&configuration).await;
    println!("figure archive.events {events}");
    println!("figure archive.live {:.0} bytes/event", per(size(&file), events));
    let many = folder.path().join("many");
    std::fs::create_dir(&many).unwrap();
    std::fs::copy(&file, many.join("plant.db")).unwrap();

    let ledger = Arc::new(SqliteLedger::open(&file).unwrap());
    read_all(&ledger, "archive.read.live", events).await;
    let still = write_beside(&ledger, async { tokio::time::sleep(Duration::from_secs(5)).await });
    told("archive.append.alone", still.await);
    let last = Position(events - events / 20);
    let begun = Instant::now();
    let mut bytes = 0;
    let beside = write_beside(&ledger, async {
        while let Some(part) = ledger.archive(last, &folder.path().join("parts")).await.unwrap() {
            bytes += part.size;
        }
    });
    told("archive.append.meanwhile", beside.await);
    let rate = per(last.0, 1) / begun.elapsed().as_secs_f64();
    println!("figure archive.rate {rate:.0} events/s");
    println!("figure archive.archived {:.1} bytes/event", per(bytes, last.0));
    let begun = Instant::now();
    ledger.shrink().await.unwrap();
    println!(
        "figure archive.shrink {:.2} s to {} bytes",
        begun.elapsed().as_secs_f64(),
        size(&file)
    );
    read_all(&ledger, "archive.read.archived", events).await;
    one_by_one(&ledger, last).await;
    ledger.close().await;
    with_many(&many, events).await;
}

/// The same year in many parts: opening it, and the history of a stencil.
async fn with_many(folder: &Path, events: u64) {
    let file = folder.join("plant.db");
    let ledger = SqliteLedger::open(&file).unwrap();
    for part in 1..=MANY {
        let last = Position((events - 1_000) * part / MANY);
        ledger.archive(last, &folder.join("parts")).await.unwrap().unwrap();
    }
    drop(ledger);
    let begun = Instant::now();
    let ledger = SqliteLedger::open(&file).unwrap();
    println!("figure archive.many.open {:?} with {MANY} parts", begun.elapsed());
    let mut took = Vec::new();
    for number in 0..100 {
        let stream = Stream::Stencil(StencilCode::new(&year::code(number * 20)).unwrap());
        let begun = Instant::now();
        assert!(!ledger.read_stream_back(&stream, 50).await.unwrap().is_empty());
        took.push(begun.elapsed());
    }
    told("archive.many.history", took);
}

/// Reads each event once; seconds for a million.
async fn read_all(ledger: &SqliteLedger, name: &str, events: u64) {
    let begun = Instant::now();
    let mut at = Position(0);
    while let Some(last) = ledger.read(at, 10_000).await.unwrap().last() {
        at = last.recorded.position;
    }
    assert!(at.0 >= events);
    let took = begun.elapsed().as_secs_f64();
    println!("figure {name} {:.2} s/million", took * 1e6 / per(at.0, 1));
}

/// Single events, all over the archive.
async fn one_by_one(ledger: &SqliteLedger, last: Position) {
    let mut took = Vec::new();
    for number in 0..1_000 {
        let at = Position(number * 7_919 * 31 % last.0);
        let begun = Instant::now();
        assert_eq!(ledger.read(at, 1).await.unwrap().len(), 1);
        took.push(begun.elapsed());
    }
    told("archive.read.one", took);
}

/// How long appends of one event took, one every two milliseconds, while something else is done.
async fn write_beside(ledger: &Arc<SqliteLedger>, work: impl Future<Output = ()>) -> Vec<Duration> {
    let (done, writing) = (Arc::new(AtomicBool::new(false)), Arc::clone(ledger));
    let stop = Arc::clone(&done);
    let writer = tokio::spawn(async move {
        let machine = MachineName::new("bench").unwrap();
        let stream = Stream::Machine(machine.clone());
        let versions = writing.versions().await.unwrap();
        let mut version = versions.get(&stream).copied().unwrap_or(0);
        let (mut took, at) = (Vec::new(), Timestamp(i64::MAX));
        while !stop.load(Ordering::Relaxed) {
            let machine = machine.clone();
            let event = Event::BoardsCounted { machine, count: version, by_machine: None };
            let fact = Fact {
                at,
                machine_time: None,
                happened: None,
                identity: None,
                sender: None,
                asked_with: None,
                event,
            };
            let batch = BatchId(u128::from(version).to_be_bytes());
            let (expected, facts) = (version, vec![fact]);
            let append = Append { stream: stream.clone(), expected, batch, facts };
            let begun = Instant::now();
            writing.append(vec![append]).await.unwrap().remove(0).unwrap();
            took.push(begun.elapsed());
            version += 1;
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
        took
    });
    work.await;
    done.store(true, Ordering::Relaxed);
    writer.await.unwrap()
}

fn told(name: &str, mut took: Vec<Duration>) {
    took.sort_unstable();
    let at = |share: usize| took[(took.len() - 1) * share / 100];
    let (count, most) = (took.len(), took[took.len() - 1]);
    println!("figure {name} median {:?}, 99 % {:?}, longest {most:?} of {count}", at(50), at(99));
}

fn size(file: &Path) -> u64 {
    std::fs::metadata(file).unwrap().len()
}

#[allow(clippy::cast_precision_loss, reason = "a figure")]
fn per(sum: u64, of: u64) -> f64 {
    sum as f64 / of as f64
}
