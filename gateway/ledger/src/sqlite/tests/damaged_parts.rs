//! A part that is not as it must be is named, with what it holds and what to do; nothing is
//! silently shorter.

use std::fs;
use std::path::{Path, PathBuf};

use rusqlite::Connection;
use stencilward_domain::event::Position;

use super::Kept;
use super::archiving::{archive, shelf, sixty};
use crate::contract::Ledger;
use crate::error::LedgerError;
use crate::part::{PartFault, PartWrong};
use crate::sqlite::open::look_at_parts;
use crate::sqlite::source::Source;
use crate::sqlite::{OpenError, Reader, SqliteLedger, read};
use crate::suite::{append, everything, machine, one};
use crate::verify::{Verified, verify};

/// A closed ledger with two parts, and their files.
async fn two() -> (Kept, [PathBuf; 2]) {
    let kept = Kept::new();
    let ledger = sixty(&kept).await;
    let first = archive(&ledger, 20, &shelf(&kept)).await;
    let second = archive(&ledger, 40, &shelf(&kept)).await;
    ledger.close().await;
    let files = [first, second].map(|part| kept.0.path().join(part.file));
    (kept, files)
}

fn refused(kept: &Kept) -> PartFault {
    match SqliteLedger::open(&kept.file()) {
        Err(OpenError::Part(fault)) => *fault,
        other => unreachable!("{other:?}"),
    }
}

/// Writes over a part, which nobody may.
fn overwrite(file: &Path, bytes: &[u8]) {
    fs::remove_file(file).unwrap();
    fs::write(file, bytes).unwrap();
}

fn edit(file: &Path, statement: &str) {
    let bytes = fs::read(file).unwrap();
    overwrite(file, &bytes);
    Connection::open(file).unwrap().execute_batch(statement).unwrap();
}

#[tokio::test]
async fn a_missing_part_is_named() {
    let (kept, [_, second]) = two().await;
    let mut reader = Reader::open(&kept.file()).unwrap();
    let aside = kept.0.path().join("aside");
    fs::rename(&second, &aside).unwrap();
    let fault = refused(&kept);
    assert!(matches!(fault.wrong, PartWrong::Missing));
    let said = fault.to_string();
    for word in [second.to_str().unwrap(), "#21 to #40", "2023-11-14T22:13:20Z", "bring it back"] {
        assert!(said.contains(word), "{said}");
    }
    assert_eq!(reader.read(Position(0), 20).unwrap().len(), 20, "the other one is there");
    for (after, limit) in [(0, 21), (25, 1), (39, 5)] {
        let missing = reader.read(Position(after), limit).unwrap_err();
        assert!(matches!(&missing, LedgerError::Part(one) if one.to_string() == said), "{missing}");
    }
    assert_eq!(reader.read(Position(40), 99).unwrap().len(), 20);
    fs::rename(&aside, &second).unwrap();
    assert_eq!(everything(&kept.open()).await.len(), 60, "brought back");
}

#[tokio::test]
async fn a_part_of_another_ledger_is_refused() {
    let (kept, [first, second]) = two().await;
    let other = Kept::new();
    let theirs = other.open();
    one(&theirs, append(&machine("a"), 0, 0..30)).await.unwrap();
    let part = archive(&theirs, 20, &shelf(&other)).await;
    let strange = fs::read(other.0.path().join(part.file)).unwrap();
    let (mine, next) = (fs::read(&first).unwrap(), fs::read(&second).unwrap());
    for bytes in [strange, next] {
        overwrite(&first, &bytes);
        assert!(matches!(refused(&kept).wrong, PartWrong::Another));
    }
    overwrite(&first, b"no part");
    assert!(matches!(refused(&kept).wrong, PartWrong::Foreign));
    overwrite(&first, &fs::read(kept.file()).unwrap());
    assert!(matches!(refused(&kept).wrong, PartWrong::Foreign), "a ledger is no part");
    overwrite(&first, &mine);
    edit(&first, "PRAGMA user_version = 2");
    assert!(matches!(refused(&kept).wrong, PartWrong::Newer(2)));
}

#[tokio::test]
async fn a_part_cut_short_is_found_at_the_start() {
    let (kept, [first, _]) = two().await;
    let bytes = fs::read(&first).unwrap();
    overwrite(&first, &bytes[..bytes.len() - 1_000]);
    let fault = refused(&kept);
    let right = (Position(1), Position(20));
    assert!(matches!(fault.wrong, PartWrong::Damaged { first, last } if (first, last) == right));
}

/// Whichever byte is changed: either nobody can tell, since it is not used, or what is read is
/// refused. No event is given that is not the one that was kept.
#[tokio::test]
async fn no_damaged_byte_passes_for_an_event() {
    let (kept, [first, _]) = two().await;
    let all = everything(&kept.open()).await;
    let bytes = fs::read(&first).unwrap();
    let (mut refused, mut told) = (0, 0);
    for at in (0..bytes.len()).step_by(29) {
        let mut damaged = bytes.clone();
        damaged[at] ^= 0x10;
        overwrite(&first, &damaged);
        let mut source = Source::open(&kept.file(), kept.0.path()).unwrap();
        match look_at_parts(&source.connection, kept.0.path()) {
            Ok(()) => {}
            Err(OpenError::Part(_)) => refused += 1,
            Err(other) => unreachable!("{other}"),
        }
        let mut read = |stream: Option<&str>| {
            source.at_once(|file, shelf| match stream {
                None => read::all(file, shelf, Position(0), usize::MAX),
                Some(stream) => read::stream(file, shelf, stream, 0, usize::MAX),
            })
        };
        for stream in [None, Some("machine/b"), Some("machine/drucker-ü")] {
            let whole = all.iter().filter(|one| stream.is_none_or(|stream| one.stream == stream));
            match read(stream) {
                Ok(read) => assert!(read.iter().eq(whole), "byte {at}"),
                Err(LedgerError::Part(_)) => told += 1,
                Err(LedgerError::Gap { .. }) if stream.is_some() => told += 1,
                Err(other) => unreachable!("{other}"),
            }
        }
    }
    assert!(refused > 10 && told > 50, "{refused} refused at the start, {told} when read");
}

#[tokio::test]
async fn an_edit_that_decompresses_is_found_where_it_is() {
    let (kept, [first, _]) = two().await;
    edit(&first, "UPDATE block SET hash = zeroblob(32) WHERE last = 8");
    let ledger = kept.open();
    let read = ledger.read(Position(0), 60).await.unwrap_err();
    let LedgerError::Part(fault) = read else { unreachable!("{read}") };
    let right = (Position(5), Position(8));
    assert!(matches!(fault.wrong, PartWrong::Damaged { first, last } if (first, last) == right));
    assert!(fault.to_string().contains("is damaged at events #5 to #8"), "{fault}");
    let walked = verify(&ledger, |_| {}).await.unwrap_err();
    assert!(matches!(walked, LedgerError::Part(again) if again.to_string() == fault.to_string()));
    assert_eq!(ledger.read(Position(20), 60).await.unwrap().len(), 40);
}

/// The list of streams is no part of the chain: what is missing there is missed.
#[tokio::test]
async fn a_stream_that_lacks_events_is_not_read() {
    for lost in ["block = 4", "block = 12", "block = 20"] {
        let (kept, [first, _]) = two().await;
        edit(&first, &format!("DELETE FROM stream WHERE name = 'machine/b' AND {lost}"));
        let ledger = kept.open();
        let b = machine("b");
        let forth = ledger.read_stream(&b, 0, 99).await;
        assert!(matches!(forth, Err(LedgerError::Gap { .. })), "{forth:?}");
        let back = ledger.read_stream_back(&b, 99).await;
        assert!(matches!(back, Err(LedgerError::Gap { .. })), "{back:?}");
        assert!(matches!(verify(&ledger, |_| {}).await, Ok(Verified::Whole { .. })));
        let part = ledger.parts().await.unwrap().remove(0);
        let checked = part.check_in(kept.0.path()).unwrap_err();
        assert!(checked.to_string().contains("list of streams"), "{checked}");
    }
}

/// Rows of the ledger go only into a part that is noted, and no part is taken out again.
#[tokio::test]
async fn the_file_guards_its_parts_against_a_slip_of_the_hand() {
    let (kept, _) = two().await;
    let hand = Connection::open(kept.file()).unwrap();
    for slip in ["DELETE FROM part", "DELETE FROM event", "UPDATE part SET hash = zeroblob(32)"] {
        let refused = hand.execute(slip, []).unwrap_err();
        assert!(refused.to_string().contains("never"), "{slip}: {refused}");
    }
}
