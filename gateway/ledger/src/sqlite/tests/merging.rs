//! Calls that wait at the same time share one durable write.

use std::future::{Future, poll_fn};
use std::task::Poll;

use rusqlite::Connection;

use super::Kept;
use crate::contract::Ledger;
use crate::suite::{append, counts, machine, one};

/// While another program holds the file, calls pile up; then all of them are written at once.
#[tokio::test]
async fn what_waits_is_written_together() {
    let kept = Kept::new();
    let ledger = kept.open();
    let hand = Connection::open(kept.file()).unwrap();
    hand.execute_batch("BEGIN IMMEDIATE").unwrap();
    let mut calls: Vec<_> = (0..100)
        .map(|number| {
            let append = append(&machine(&format!("m{number}")), 0, [number]);
            Box::pin(one(&ledger, append))
        })
        .collect();
    // Polled once, a call is handed over and waits.
    poll_fn(|context| {
        for call in &mut calls {
            assert!(call.as_mut().poll(context).is_pending());
        }
        Poll::Ready(())
    })
    .await;
    hand.execute_batch("ROLLBACK").unwrap();
    for call in calls {
        call.await.unwrap();
    }
    assert_eq!(counts(&ledger).await, (0..100).collect::<Vec<_>>());
    let commits = ledger.commits();
    assert!(commits <= 2, "{commits} for what the writer had taken, and all the others");
}

#[tokio::test]
async fn a_call_is_one_durable_write_and_a_refusal_is_none() {
    let kept = Kept::new();
    let ledger = kept.open();
    let many = (0..50).map(|n| append(&machine(&format!("m{n}")), 0, [n, n]));
    ledger.append(many.collect()).await.unwrap();
    assert_eq!(ledger.commits(), 1);
    one(&ledger, append(&machine("m1"), 7, [1])).await.unwrap_err();
    one(&ledger, append(&machine("m1"), 0, [1, 1])).await.unwrap();
    assert_eq!(ledger.commits(), 1, "a conflict and a repeat write nothing");
}
