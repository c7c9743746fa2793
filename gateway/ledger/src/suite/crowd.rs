//! Many writers at once.

use std::collections::HashMap;
use std::sync::Arc;

use stencilward_domain::event::Stream;
use tokio::task::JoinSet;

use super::{Place, append, count, everything, machine, one};
use crate::contract::{Appended, Ledger};
use crate::error::Refused;
use crate::verify::{Verified, verify};

const WRITERS: u64 = 16;
const EACH: u64 = 40;

/// Every acknowledged append lies where the writer was told, and each stream in its order.
pub async fn many_writers_make_one_order(place: impl Place) {
    let ledger = place.open().await;
    let mut writers = JoinSet::new();
    for writer in 0..WRITERS {
        writers.spawn(write_own(Arc::clone(&ledger), writer));
    }
    let told: Vec<(u64, Appended)> = writers.join_all().await.into_iter().flatten().collect();
    let entries = everything(&*ledger).await;
    assert_eq!(entries.len() as u64, WRITERS * EACH * 2);
    let by_count: HashMap<u64, u64> = entries
        .iter()
        .map(|entry| (count(&entry.recorded.fact), entry.recorded.position.0))
        .collect();
    for (count, appended) in told {
        assert_eq!(by_count.get(&count), Some(&appended.first.0));
        assert_eq!(by_count.get(&(count + 1)), Some(&appended.last.0));
    }
    let mut versions: HashMap<&str, u64> = HashMap::new();
    for entry in &entries {
        let version = versions.entry(&entry.stream).or_default();
        *version += 1;
        assert_eq!(entry.version, *version, "{}", entry.stream);
    }
    let walked = verify(&*ledger, |_| {}).await.unwrap();
    assert!(matches!(walked, Verified::Whole { head, .. } if head == *ledger.head().borrow()));
}

async fn write_own(ledger: Arc<dyn Ledger>, writer: u64) -> Vec<(u64, Appended)> {
    let stream = machine(&format!("writer-{writer}"));
    let mut told = Vec::new();
    for round in 0..EACH {
        let first = (writer * EACH + round) * 2;
        let append = append(&stream, round * 2, [first, first + 1]);
        told.push((first, one(&*ledger, append).await.unwrap()));
    }
    told
}

/// Of writers that expect the same version one is kept; the others learn where the stream is.
pub async fn writers_of_one_stream_take_turns(place: impl Place) {
    let ledger = place.open().await;
    let stream = machine("shared");
    let mut writers = JoinSet::new();
    for writer in 0..WRITERS {
        writers.spawn(write_shared(Arc::clone(&ledger), stream.clone(), writer));
    }
    writers.join_all().await;
    let mut written: Vec<u64> =
        everything(&*ledger).await.iter().map(|entry| count(&entry.recorded.fact)).collect();
    written.sort_unstable();
    assert_eq!(written, (0..WRITERS * 10).collect::<Vec<_>>());
}

async fn write_shared(ledger: Arc<dyn Ledger>, stream: Stream, writer: u64) {
    let mut version = 0;
    for number in writer * 10..(writer + 1) * 10 {
        loop {
            match one(&*ledger, append(&stream, version, [number])).await {
                Ok(appended) => {
                    version = appended.version;
                    break;
                }
                Err(Refused::Conflict { actual, .. }) => version = actual,
                Err(other) => unreachable!("{other}"),
            }
        }
    }
}

/// A caller that goes away leaves all of its append or nothing, and disturbs nobody.
pub async fn given_up_calls_are_kept_whole_or_not_at_all(place: impl Place) {
    let ledger = place.open().await;
    let mut writers = JoinSet::new();
    for writer in 0..WRITERS {
        let ledger = Arc::clone(&ledger);
        writers.spawn(async move {
            let stream = machine(&format!("w{writer}"));
            for round in 0.. {
                let first = round * 3;
                let append = append(&stream, first, [first, first + 1, first + 2]);
                one(&*ledger, append).await.unwrap();
            }
        });
    }
    let mut head = ledger.head();
    head.wait_for(|head| head.0 > 200).await.unwrap();
    writers.shutdown().await;
    one(&*ledger, append(&machine("last"), 0, [0])).await.unwrap();
    for (stream, version) in ledger.versions().await.unwrap() {
        let whole = stream == machine("last") || version % 3 == 0;
        assert!(whole, "{stream} has {version} events");
    }
    everything(&*ledger).await;
}
