//! Reading from outside: all that is durable is seen, nothing is made, nobody is kept waiting.

use std::collections::BTreeSet;
use std::fs;

use rusqlite::Connection;
use stencilward_domain::event::Position;

use super::Kept;
use crate::contract::{Entry, Ledger};
use crate::sqlite::{OpenError, Reader};
use crate::suite::{append, count, machine, one};

fn numbers(entries: &[Entry]) -> Vec<u64> {
    entries.iter().map(|entry| count(&entry.recorded.fact)).collect()
}

fn read(reader: &mut Reader) -> Vec<u64> {
    numbers(&reader.read(Position(0), 1_000_000).unwrap())
}

fn files(kept: &Kept) -> BTreeSet<String> {
    let files = fs::read_dir(kept.0.path()).unwrap();
    files.map(|file| file.unwrap().file_name().into_string().unwrap()).collect()
}

#[tokio::test]
async fn a_closed_ledger_is_read_and_left_as_it_is() {
    let kept = Kept::new();
    let ledger = kept.open();
    one(&ledger, append(&machine("a"), 0, [1, 2, 3])).await.unwrap();
    ledger.close().await;
    fs::remove_file(kept.0.path().join("ledger.db.lock")).unwrap();
    let (before, bytes) = (files(&kept), fs::read(kept.file()).unwrap());
    let mut reader = Reader::open(&kept.file()).unwrap();
    assert_eq!(read(&mut reader), [1, 2, 3]);
    assert_eq!(numbers(&reader.read(Position(1), 1).unwrap()), [2]);
    assert_eq!(files(&kept), before);
    drop(reader);
    assert_eq!((files(&kept), fs::read(kept.file()).unwrap()), (before, bytes));
}

#[tokio::test]
async fn beside_a_writer_it_sees_what_is_durable_and_keeps_nobody_waiting() {
    let kept = Kept::new();
    let ledger = kept.open();
    let before = files(&kept);
    let mut reader = Reader::open(&kept.file()).unwrap();
    assert_eq!(read(&mut reader), [0; 0]);
    for number in 0..50 {
        one(&ledger, append(&machine("a"), number, [number])).await.unwrap();
        let all: Vec<u64> = (0..=number).collect();
        assert_eq!(read(&mut reader), all, "as soon as it is durable");
    }
    assert_eq!(files(&kept), before);
    ledger.close().await;
    let next = kept.open();
    one(&next, append(&machine("a"), 50, [50])).await.unwrap();
    assert_eq!(read(&mut reader).len(), 51);
}

#[tokio::test]
async fn reads_and_writes_at_the_same_time_all_succeed() {
    let kept = Kept::new();
    let ledger = kept.open();
    let file = kept.file();
    one(&ledger, append(&machine("a"), 0, [0])).await.unwrap();
    let reading = std::thread::spawn(move || {
        let mut reader = Reader::open(&file).unwrap();
        let (mut last, mut rounds) = (0, 0);
        while last < 300 {
            let entries = reader.read(Position(0), 1_000_000).unwrap();
            let expected: Vec<u64> = (0..entries.len() as u64).collect();
            assert_eq!(numbers(&entries), expected);
            assert!(entries.len() >= last, "nothing that was seen goes away");
            last = entries.len();
            rounds += 1;
        }
        rounds
    });
    for number in 1..300 {
        one(&ledger, append(&machine("a"), number, [number])).await.unwrap();
    }
    assert!(reading.join().unwrap() > 1);
}

#[tokio::test]
async fn a_gateway_that_comes_and_goes_meanwhile_is_seen() {
    let kept = Kept::new();
    let ledger = kept.open();
    one(&ledger, append(&machine("a"), 0, [1])).await.unwrap();
    ledger.close().await;
    let mut reader = Reader::open(&kept.file()).unwrap();
    assert_eq!(read(&mut reader), [1]);

    let ledger = kept.open();
    one(&ledger, append(&machine("a"), 1, 2..=200)).await.unwrap();
    ledger.close().await;
    assert_eq!(read(&mut reader).len(), 200, "after it has gone");

    let ledger = kept.open();
    one(&ledger, append(&machine("a"), 200, [201])).await.unwrap();
    assert_eq!(read(&mut reader).len(), 201, "while it is at work");
}

#[test]
fn odd_names_of_files_are_no_trouble() {
    let kept = Kept::new();
    drop(kept.open());
    for name in ["a b.db", "50%.db", "a?immutable=0.db", "ä#1.db"] {
        let file = kept.0.path().join(name);
        fs::copy(kept.file(), &file).unwrap();
        assert_eq!(read(&mut Reader::open(&file).unwrap()), [0; 0], "{name}");
    }
}

#[test]
fn what_is_no_ledger_is_refused_and_nothing_is_made() {
    let kept = Kept::new();
    let missing = Reader::open(&kept.file()).unwrap_err();
    assert!(matches!(&missing, OpenError::Missing(_)), "{missing:?}");
    assert!(missing.to_string().contains("run the gateway first"), "{missing}");
    assert_eq!(files(&kept).len(), 0);

    Connection::open(kept.file()).unwrap().execute_batch("CREATE TABLE other (a)").unwrap();
    assert!(matches!(Reader::open(&kept.file()).unwrap_err(), OpenError::Foreign));
    let newer = "PRAGMA application_id = 0x53574c47; PRAGMA user_version = 99";
    Connection::open(kept.file()).unwrap().execute_batch(newer).unwrap();
    assert!(matches!(Reader::open(&kept.file()).unwrap_err(), OpenError::Newer(99)));
    fs::write(kept.file(), "text\n".repeat(400)).unwrap();
    assert!(matches!(Reader::open(&kept.file()).unwrap_err(), OpenError::Foreign));
}
