//! A full disk, a file held by others, a log with rubbish at its end.

use std::fs;
use std::io::Write;

use rusqlite::Connection;
use stencilward_domain::event::Position;

use super::Kept;
use crate::contract::{Append, Ledger};
use crate::error::{LedgerError, Refused};
use crate::sqlite::SqliteLedger;
use crate::suite::{append, count, counts, machine, one};
use crate::verify::{Verified, verify};

async fn whole(ledger: &SqliteLedger, events: u64) {
    let walked = verify(ledger, |_| {}).await.unwrap();
    assert!(
        matches!(walked, Verified::Whole { head, .. } if head == Position(events)),
        "{walked:?}"
    );
}

/// A short append and a long one, so that the short one is already in the page when the disk
/// is full.
fn call(number: u64) -> Vec<Append> {
    let (short, long) = (number * 10, number * 390);
    vec![
        append(&machine("a"), short, short..short + 10),
        append(&machine("b"), long, long..long + 390),
    ]
}

#[tokio::test]
async fn a_full_disk_keeps_nothing_and_the_same_appends_succeed_later() {
    let kept = Kept::new();
    let ledger = kept.open();
    ledger.limit_pages(60).await.unwrap();
    let mut number = 0;
    let full = loop {
        match ledger.append(call(number)).await {
            Ok(answers) => assert!(answers.iter().all(Result::is_ok)),
            Err(error) => break error,
        }
        number += 1;
    };
    assert!(matches!(full, LedgerError::Storage(_)));
    assert!(full.to_string().contains("has room"), "{full}");
    let cause = std::error::Error::source(&full).unwrap().to_string();
    assert!(cause.contains("full"), "{cause}");

    let before = number * 400;
    assert!(number > 0);
    let kept = counts(&ledger).await.len() as u64;
    assert_eq!(kept, before, "nothing of the failed write is there");
    assert_eq!(ledger.head().borrow().0, before);
    ledger.append(call(number)).await.unwrap_err();
    whole(&ledger, before).await;

    ledger.limit_pages(u32::MAX).await.unwrap();
    let answers = ledger.append(call(number)).await.unwrap();
    let places = answers.iter().map(|answer| answer.as_ref().unwrap().first.0);
    assert_eq!(places.collect::<Vec<_>>(), [before + 1, before + 11]);
    assert_eq!(ledger.append(call(number)).await.unwrap(), answers, "and once only");
    assert_eq!(counts(&ledger).await.len() as u64, before + 400);
    whole(&ledger, before + 400).await;
}

#[tokio::test]
async fn a_file_held_by_another_program_is_an_error_that_passes() {
    let kept = Kept::new();
    let ledger = kept.open();
    let a = machine("a");
    one(&ledger, append(&a, 0, [1])).await.unwrap();
    let hand = Connection::open(kept.file()).unwrap();
    hand.execute_batch("BEGIN IMMEDIATE").unwrap();
    let held = ledger.append(vec![append(&a, 1, [2])]).await.unwrap_err();
    let cause = std::error::Error::source(&held).unwrap().to_string();
    assert!(cause.contains("locked"), "{cause}");
    assert_eq!(counts(&ledger).await, [1], "reading goes on meanwhile");
    hand.execute_batch("ROLLBACK").unwrap();
    one(&ledger, append(&a, 1, [2])).await.unwrap();
    assert_eq!(counts(&ledger).await, [1, 2]);
}

/// Another program that writes rows of its own is no reason to fail for ever: versions and the
/// chain go on from what is there, and the walk names the stranger.
#[tokio::test]
async fn a_row_of_another_program_does_not_stop_the_ledger() {
    let kept = Kept::new();
    let ledger = kept.open();
    let a = machine("a");
    one(&ledger, append(&a, 0, [1])).await.unwrap();
    let hand = Connection::open(kept.file()).unwrap();
    let insert = "INSERT INTO event SELECT 2, stream, 2, batch, body, hash FROM event";
    hand.execute(insert, []).unwrap();
    let refused = one(&ledger, append(&a, 1, [2])).await;
    let stream = a.clone();
    let (expected, actual) = (1, 2);
    assert_eq!(refused, Err(Refused::Conflict { stream, expected, actual }));
    let appended = one(&ledger, append(&a, 2, [2])).await.unwrap();
    assert_eq!(appended.first, Position(3));
    let walked = verify(&ledger, |_| {}).await.unwrap();
    assert_eq!(walked, Verified::Broken { at: Position(2) });
}

/// What lies on the disk at this moment, as after a power cut.
fn copy(kept: &Kept) -> Kept {
    let copy = Kept::new();
    for name in ["ledger.db", "ledger.db-wal"] {
        fs::copy(kept.0.path().join(name), copy.0.path().join(name)).unwrap();
    }
    copy
}

#[tokio::test]
async fn rubbish_after_the_end_of_the_log_is_passed_over() {
    let kept = Kept::new();
    let ledger = kept.open();
    let a = machine("a");
    for number in 0..20 {
        one(&ledger, append(&a, number, [number])).await.unwrap();
    }
    let copy = copy(&kept);
    let log = copy.0.path().join("ledger.db-wal");
    let mut log = fs::File::options().append(true).open(log).unwrap();
    log.write_all(&[0xa5; 10_000]).unwrap();
    let again = copy.open();
    assert_eq!(counts(&again).await, (0..20).collect::<Vec<_>>());
    one(&again, append(&a, 20, [20])).await.unwrap();
    whole(&again, 21).await;
}

/// A write that was cut short was never acknowledged: it is gone as a whole, and what was before
/// it is there.
#[tokio::test]
async fn a_write_cut_short_is_gone_as_a_whole() {
    let kept = Kept::new();
    let ledger = kept.open();
    let a = machine("a");
    one(&ledger, append(&a, 0, 0..10)).await.unwrap();
    let before = fs::metadata(kept.0.path().join("ledger.db-wal")).unwrap().len();
    one(&ledger, append(&a, 10, 10..300)).await.unwrap();
    let copy = copy(&kept);
    let log = copy.0.path().join("ledger.db-wal");
    let length = fs::metadata(&log).unwrap().len();
    assert!(length > before + 5_000, "several pages");
    let log = fs::File::options().write(true).open(&log).unwrap();
    log.set_len(length - 10).unwrap();
    drop(log);
    let again = copy.open();
    assert_eq!(counts(&again).await, (0..10).collect::<Vec<_>>());
    whole(&again, 10).await;
    let repeat = one(&again, append(&a, 10, 10..300)).await.unwrap();
    assert_eq!(repeat.first, Position(11));
    let last = again.read(Position(299), 9).await.unwrap();
    assert_eq!(last.iter().map(|e| count(&e.recorded.fact)).collect::<Vec<_>>(), [299]);
}
