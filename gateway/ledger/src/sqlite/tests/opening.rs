//! What a file must be to be opened, and what it is set to.

use std::error::Error;
use std::fs;
use std::path::Path;
use std::time::Duration;

use rusqlite::Connection;
use stencilward_domain::event::Position;

use super::Kept;
use crate::contract::{Ledger, Owed};
use crate::sqlite::open::{APPLICATION, SCHEMA, SCHEMAS, writer};
use crate::sqlite::{OpenError, SqliteLedger};
use crate::suite::{append, counts, machine, one};
use crate::{Verified, verify};

fn refused(path: &Path) -> OpenError {
    SqliteLedger::open(path).unwrap_err()
}

/// The message with everything behind it, as the log shows it.
fn chain(error: &dyn Error) -> String {
    let mut text = error.to_string();
    let mut source = error.source();
    while let Some(error) = source {
        text = format!("{text}: {error}");
        source = error.source();
    }
    text
}

#[test]
fn commits_are_durable_and_the_file_is_marked() {
    let kept = Kept::new();
    drop(kept.open());
    let connection = writer(&kept.file()).unwrap();
    let number = |pragma: &str| -> i64 {
        let query = format!("PRAGMA {pragma}");
        connection.query_row(&query, [], |row| row.get(0)).unwrap()
    };
    assert_eq!(number("synchronous"), 2, "FULL");
    assert_eq!(number("application_id"), APPLICATION);
    assert_eq!(number("user_version"), SCHEMA);
    let mode: String = connection.query_row("PRAGMA journal_mode", [], |row| row.get(0)).unwrap();
    assert_eq!(mode, "wal");
    let strict: i64 = connection
        .query_row("SELECT strict FROM pragma_table_list WHERE name = 'event'", [], |row| {
            row.get(0)
        })
        .unwrap();
    assert_eq!(strict, 1);
}

#[tokio::test]
async fn reading_connections_cannot_write() {
    let kept = Kept::new();
    let ledger = kept.open();
    one(&ledger, append(&machine("a"), 0, [1])).await.unwrap();
    let reader = crate::sqlite::open::reader(&kept.file()).unwrap();
    assert!(reader.execute("INSERT INTO event (position) VALUES (9)", []).is_err());
}

#[tokio::test]
async fn events_are_not_edited_by_a_slip_of_the_hand() {
    let kept = Kept::new();
    let ledger = kept.open();
    one(&ledger, append(&machine("a"), 0, [1, 2])).await.unwrap();
    let hand = Connection::open(kept.file()).unwrap();
    let edit = hand.execute("UPDATE event SET body = '{}'", []).unwrap_err();
    assert!(edit.to_string().contains("never edited"), "{edit}");
    let delete = hand.execute("DELETE FROM event", []).unwrap_err();
    assert!(delete.to_string().contains("never taken out"), "{delete}");
}

#[tokio::test]
async fn a_second_gateway_is_refused_while_the_first_is_at_work() {
    let kept = Kept::new();
    let first = kept.open();
    assert!(matches!(refused(&kept.file()), OpenError::InUse));
    let link = kept.0.path().join("link.db");
    std::os::unix::fs::symlink(kept.file(), &link).unwrap();
    assert!(matches!(refused(&link), OpenError::InUse), "by another name");
    assert!(refused(&link).to_string().contains("another gateway"));
    first.close().await;
    let second = SqliteLedger::open(&link).unwrap();
    assert!(matches!(refused(&kept.file()), OpenError::InUse));
    drop((first, second));
    drop(kept.open());
}

#[test]
fn a_missing_folder_is_named() {
    let kept = Kept::new();
    let folder = kept.0.path().join("not/there");
    let error = refused(&folder.join("ledger.db"));
    assert!(matches!(&error, OpenError::NoFolder(named) if *named == folder));
    assert!(error.to_string().contains("create it"), "{error}");
    let relative = refused(Path::new("surely-not-there/ledger.db"));
    assert!(matches!(relative, OpenError::NoFolder(named) if named.is_absolute()));
}

#[test]
fn a_folder_is_no_ledger_and_gets_no_file_beside_it() {
    let kept = Kept::new();
    let folder = kept.0.path().join("ledgers");
    fs::create_dir(&folder).unwrap();
    assert!(matches!(refused(&folder), OpenError::IsFolder(_)));
    assert_eq!(fs::read_dir(kept.0.path()).unwrap().count(), 1);
}

#[test]
fn a_file_of_another_kind_is_refused_and_left_alone() {
    let kept = Kept::new();
    let text = "Not a database, but long enough to be looked at as if it were one.\n".repeat(40);
    fs::write(kept.file(), &text).unwrap();
    assert!(matches!(refused(&kept.file()), OpenError::Foreign));
    assert_eq!(fs::read_to_string(kept.file()).unwrap(), text);
}

#[test]
fn a_database_of_another_program_is_refused_and_left_alone() {
    for application in [0, 77] {
        let kept = Kept::new();
        let other = Connection::open(kept.file()).unwrap();
        let table = format!("PRAGMA application_id = {application}; CREATE TABLE other (a);");
        other.execute_batch(&table).unwrap();
        drop(other);
        let before = fs::read(kept.file()).unwrap();
        assert!(matches!(refused(&kept.file()), OpenError::Foreign));
        assert_eq!(fs::read(kept.file()).unwrap(), before);
    }
}

/// A file as this earlier schema left it, with two events.
async fn of_schema(kept: &Kept, schema: usize) {
    let newest = Kept::new();
    let ledger = newest.open();
    one(&ledger, append(&machine("a"), 0, [1, 2])).await.unwrap();
    drop(ledger);
    let old = Connection::open(kept.file()).unwrap();
    old.execute_batch(&SCHEMAS[..schema].concat()).unwrap();
    old.pragma_update(None, "application_id", APPLICATION).unwrap();
    old.pragma_update(None, "user_version", schema as i64).unwrap();
    old.execute("ATTACH ?1 AS newest", [newest.file().to_str().unwrap()]).unwrap();
    old.execute("INSERT INTO event SELECT * FROM newest.event", []).unwrap();
}

#[tokio::test]
async fn a_ledger_of_an_earlier_schema_is_brought_up_to_this_one() {
    for schema in [1, 2] {
        let kept = Kept::new();
        of_schema(&kept, schema).await;
        let mut reader = crate::Reader::open(&kept.file()).unwrap();
        assert_eq!(reader.read(Position(0), 9).unwrap().len(), 2, "it reads as it is");
        assert_eq!(reader.parts().unwrap(), []);
        let ledger = kept.open();
        assert_eq!(counts(&ledger).await, [1, 2]);
        let owed = Owed { to: "b".into(), about: "c".into(), replaces: false, body: vec![1] };
        ledger.append_owing(&[append(&machine("a"), 2, [3])], &[owed]).await.unwrap();
        assert_eq!(ledger.due("b", 0, 9).await.unwrap().len(), 1);
        let part = ledger.archive(Position(2), kept.0.path()).await.unwrap().unwrap();
        assert_eq!(part.events(), 2);
        assert_eq!(counts(&ledger).await, [1, 2, 3]);
        let hand = Connection::open(kept.file()).unwrap();
        let delete = hand.execute("DELETE FROM event", []).unwrap_err();
        assert!(delete.to_string().contains("never taken out"), "{delete}");
        assert!(matches!(verify(&ledger, |_| {}).await.unwrap(), Verified::Whole { .. }));
    }
}

#[test]
fn a_newer_schema_is_refused() {
    let kept = Kept::new();
    drop(kept.open());
    let newer = Connection::open(kept.file()).unwrap();
    newer.pragma_update(None, "user_version", SCHEMA + 1).unwrap();
    drop(newer);
    let error = refused(&kept.file());
    assert!(matches!(error, OpenError::Newer(found) if found == SCHEMA + 1));
    assert!(error.to_string().contains("newer gateway"), "{error}");
}

#[test]
fn a_damaged_file_is_refused_with_its_cause() {
    let kept = Kept::new();
    drop(kept.open());
    let mut bytes = fs::read(kept.file()).unwrap();
    let (_, pages) = bytes.split_at_mut(100);
    pages.fill(0x5a);
    fs::write(kept.file(), bytes).unwrap();
    let error = refused(&kept.file());
    assert!(matches!(error, OpenError::Storage(_)), "{error:?}");
    assert!(chain(&error).contains("malformed"), "{}", chain(&error));
}

#[tokio::test]
async fn a_closed_ledger_is_one_file_and_still_reads() {
    let kept = Kept::new();
    let ledger = kept.open();
    one(&ledger, append(&machine("a"), 0, [1, 2])).await.unwrap();
    counts(&ledger).await;
    ledger.close().await;
    let mut files: Vec<_> = fs::read_dir(kept.0.path())
        .unwrap()
        .map(|file| file.unwrap().file_name().into_string().unwrap())
        .collect();
    files.sort();
    assert_eq!(files, ["ledger.db", "ledger.db.lock"]);
    assert_eq!(counts(&ledger).await, [1, 2]);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn whoever_is_just_leaving_is_waited_for() {
    let kept = Kept::new();
    let first = kept.open();
    let leaving = std::thread::spawn(move || {
        std::thread::sleep(Duration::from_millis(100));
        drop(first);
    });
    let second = kept.open();
    leaving.join().unwrap();
    drop(second);
}
