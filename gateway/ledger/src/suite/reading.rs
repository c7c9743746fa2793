//! What was kept reads back: all of it, by page, by stream.

use std::collections::HashMap;

use stencilward_domain::event::{Basis, Event, Fact, Position, Stream};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::time::Timestamp;

use super::{Place, append, batch, count, everything, machine, one};
use crate::contract::Append;

/// Each event has what it was given, and where it lies.
pub async fn events_read_back_as_they_were(place: impl Place) {
    let ledger = place.open().await;
    let stencil = StencilCode::new("ST/Ü \"1\"").unwrap();
    let facts: Vec<Fact> = [0, 1, i64::MAX, i64::MIN]
        .into_iter()
        .map(|at| Fact {
            at: Timestamp(at),
            machine_time: Some(Timestamp(at)),
            happened: None,
            identity: Some("printer-1/\u{1f4a1}\\".to_owned()),
            sender: None,
            asked_with: None,
            event: Event::StrokesBooked {
                stencil: stencil.clone(),
                machine: MachineName::new("printer-1").unwrap(),
                count: u64::MAX,
                basis: Basis::Reported { by_machine: None },
            },
        })
        .collect();
    let stream = Stream::Stencil(stencil);
    let given =
        Append { stream: stream.clone(), expected: 0, batch: batch(3), facts: facts.clone() };
    one(&*ledger, given).await.unwrap();
    let entries = everything(&*ledger).await;
    assert_eq!(entries.len(), facts.len());
    for ((entry, fact), version) in entries.iter().zip(&facts).zip(1..) {
        assert_eq!(entry.recorded.fact, *fact);
        assert_eq!(entry.stream, stream.to_string());
        assert_eq!((entry.version, entry.batch), (version, batch(3)));
    }
    assert_eq!(ledger.read_stream(&stream, 0, 9).await.unwrap(), entries);
}

/// Whatever the size of a page.
pub async fn pages_join_without_gap_or_overlap(place: impl Place) {
    let ledger = place.open().await;
    let (a, b) = (machine("a"), machine("b"));
    for number in 0..10 {
        let call = vec![append(&a, number, [number]), append(&b, number, [number])];
        ledger.append(call).await.unwrap();
    }
    let all = everything(&*ledger).await;
    assert_eq!(all.len(), 20);
    for limit in [1, 3, 20, 21] {
        let (mut joined, mut after) = (Vec::new(), Position(0));
        loop {
            let page = ledger.read(after, limit).await.unwrap();
            assert!(page.len() <= limit);
            let Some(last) = page.last() else { break };
            after = last.recorded.position;
            joined.extend(page);
        }
        assert_eq!(joined, all, "{limit} a page");
    }
    assert_eq!(ledger.read(Position(0), 0).await.unwrap(), []);
    assert_eq!(ledger.read(Position(20), 5).await.unwrap(), []);
    assert_eq!(ledger.read(Position(u64::MAX), 5).await.unwrap(), []);
}

/// By version, a page at a time, and nothing of other streams.
pub async fn a_stream_reads_by_its_version(place: impl Place) {
    let ledger = place.open().await;
    let (a, b) = (machine("a"), machine("b"));
    for number in 0..6 {
        let call = vec![append(&a, number, [number]), append(&b, number, [99])];
        ledger.append(call).await.unwrap();
    }
    let read = |after, limit| {
        let (ledger, a) = (&ledger, &a);
        async move {
            let entries = ledger.read_stream(a, after, limit).await.unwrap();
            let counts: Vec<u64> = entries.iter().map(|e| count(&e.recorded.fact)).collect();
            counts
        }
    };
    assert_eq!(read(0, 100).await, [0, 1, 2, 3, 4, 5]);
    assert_eq!(read(2, 2).await, [2, 3]);
    assert_eq!(read(6, 2).await, Vec::<u64>::new());
    assert_eq!(read(u64::MAX, 2).await, Vec::<u64>::new());
    let nobody = machine("nobody");
    assert_eq!(ledger.read_stream(&nobody, 0, 9).await.unwrap(), []);
    let all = ledger.read_stream(&a, 0, 9).await.unwrap();
    for limit in [0, 1, 4, 6, 9] {
        let back = ledger.read_stream_back(&a, limit).await.unwrap();
        let last: Vec<_> = all.iter().rev().take(limit).cloned().collect();
        assert_eq!(back, last, "the last {limit}, latest first");
    }
    assert_eq!(ledger.read_stream_back(&nobody, 9).await.unwrap(), []);
}

/// Every stream with events, and no other.
pub async fn versions_of_all_streams(place: impl Place) {
    let ledger = place.open().await;
    assert_eq!(ledger.versions().await.unwrap(), HashMap::new());
    let (a, slashed) = (machine("a"), machine("order/a/1"));
    let mut site = append(&a, 0, [1]);
    site.stream = Stream::Site;
    for fact in &mut site.facts {
        fact.event = Event::GatewayStopped;
    }
    let refused = append(&machine("refused"), 7, [1]);
    let call = vec![append(&a, 0, [1, 2, 3]), append(&slashed, 0, [4]), site, refused];
    ledger.append(call).await.unwrap();
    let expected = HashMap::from([(a, 3), (slashed, 1), (Stream::Site, 1)]);
    assert_eq!(ledger.versions().await.unwrap(), expected);
}
