//! Closing, dropping, opening again.

use std::sync::Arc;

use tokio::task::JoinSet;

use super::{Place, append, counts, machine, one};
use crate::contract::Ledger;
use crate::error::LedgerError;

/// And may be closed twice.
pub async fn a_closed_ledger_takes_no_appends(place: impl Place) {
    let ledger = place.open().await;
    let a = machine("a");
    one(&*ledger, append(&a, 0, [1])).await.unwrap();
    ledger.close().await;
    ledger.close().await;
    let late = ledger.append(vec![append(&a, 1, [2])]).await;
    assert!(matches!(late, Err(LedgerError::Closed)), "{late:?}");
    let again = place.open().await;
    assert_eq!(counts(&*again).await, [1]);
}

/// Whoever waits while the ledger is closed gets a true answer.
pub async fn closing_makes_durable_what_was_handed_over(place: impl Place) {
    let ledger = place.open().await;
    let mut writers = JoinSet::new();
    for writer in 0..50 {
        let ledger = Arc::clone(&ledger);
        writers.spawn(async move {
            let append = append(&machine(&format!("w{writer}")), 0, [writer]);
            match ledger.append(vec![append]).await {
                Ok(answers) => answers.iter().all(Result::is_ok).then_some(writer),
                Err(LedgerError::Closed) => None,
                Err(other) => unreachable!("{other}"),
            }
        });
    }
    tokio::task::yield_now().await;
    ledger.close().await;
    let mut kept: Vec<u64> = writers.join_all().await.into_iter().flatten().collect();
    kept.sort_unstable();
    drop(ledger);
    let mut found = counts(&*place.open().await).await;
    found.sort_unstable();
    assert_eq!(found, kept);
}

/// Dropped with writers at work, as a failing gateway does.
pub async fn what_was_acknowledged_is_there_after_a_drop(place: impl Place) {
    let mut expected = Vec::new();
    for round in 0..3_u64 {
        let ledger = place.open().await;
        assert_eq!(counts(&*ledger).await.len() as u64, ledger.head().borrow().0);
        let (told, mut answers) = tokio::sync::mpsc::channel(1_000);
        let mut writers = JoinSet::new();
        for writer in 0..4_u64 {
            writers.spawn(write_on(Arc::clone(&ledger), round * 4 + writer, told.clone()));
        }
        for _ in 0..100 {
            expected.push(answers.recv().await.unwrap());
        }
        writers.shutdown().await;
        drop(ledger);
        while let Ok(number) = answers.try_recv() {
            expected.push(number);
        }
    }
    let found = counts(&*place.open().await).await;
    for number in &expected {
        let times = found.iter().filter(|found| *found == number).count();
        assert_eq!(times, 1, "{number} was acknowledged");
    }
}

async fn write_on(ledger: Arc<dyn Ledger>, writer: u64, told: tokio::sync::mpsc::Sender<u64>) {
    let stream = machine(&format!("w{writer}"));
    for version in 0.. {
        let number = writer * 1_000_000 + version;
        one(&*ledger, append(&stream, version, [number])).await.unwrap();
        if told.send(number).await.is_err() {
            return;
        }
    }
}
