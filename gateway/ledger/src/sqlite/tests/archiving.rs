//! Events that moved to parts are where they were for everybody who reads.

use std::fs;
use std::path::{Path, PathBuf};

use proptest::prelude::*;
use proptest::test_runner::{Config, TestRunner};
use rusqlite::Connection;
use stencilward_domain::event::Position;
use stencilward_domain::time::Timestamp;

use super::Kept;
use crate::chain::GENESIS;
use crate::contract::{Append, Entry, Ledger};
use crate::part::Part;
use crate::sqlite::part::Sizes;
use crate::sqlite::{ArchiveError, Reader, SqliteLedger};
use crate::suite::{append, counted, counts, everything, machine, one};
use crate::verify::{Verified, verify};

pub(super) const SMALL: Sizes = Sizes { block: 4, part: 1_000 };

pub(super) fn shelf(kept: &Kept) -> PathBuf {
    kept.0.path().join("ledger.archive")
}

/// Sixty events of two machines.
pub(super) async fn sixty(kept: &Kept) -> SqliteLedger {
    let ledger = kept.open();
    for number in 0..20 {
        let (a, b) = (machine("drucker-ü"), machine("b"));
        let call = vec![append(&a, number * 2, [number, 1]), append(&b, number, [number])];
        ledger.append(call).await.unwrap();
    }
    ledger
}

pub(super) async fn archive(ledger: &SqliteLedger, last: u64, folder: &Path) -> Part {
    ledger.archive_by(Position(last), folder, SMALL).await.unwrap().unwrap()
}

fn rows(file: &Path) -> i64 {
    let file = Connection::open(file).unwrap();
    file.query_row("SELECT count(*) FROM event", [], |row| row.get(0)).unwrap()
}

async fn head(ledger: &SqliteLedger) -> (u64, [u8; 32]) {
    match verify(ledger, |_| {}).await.unwrap() {
        Verified::Whole { head, hash } => (head.0, hash),
        Verified::Broken { at } => unreachable!("broken at {at}"),
    }
}

#[tokio::test]
async fn what_moved_is_read_as_before() {
    let kept = Kept::new();
    let ledger = sixty(&kept).await;
    let (before, end) = (everything(&ledger).await, head(&ledger).await);
    let versions = ledger.versions().await.unwrap();
    let first = archive(&ledger, 21, &shelf(&kept)).await;
    let second = archive(&ledger, 40, &shelf(&kept)).await;
    assert!(ledger.archive_by(Position(40), &shelf(&kept), SMALL).await.unwrap().is_none());
    assert_eq!((first.first, first.last, first.before), (Position(1), Position(21), GENESIS));
    assert_eq!(
        (second.first, second.last, second.before),
        (Position(22), Position(40), first.hash)
    );
    assert_eq!(second.hash, before[39].hash);
    assert_eq!(ledger.parts().await.unwrap(), [first.clone(), second]);
    assert_eq!(rows(&kept.file()), 20);
    assert_eq!(everything(&ledger).await, before);
    assert_eq!(head(&ledger).await, end);
    assert_eq!(ledger.versions().await.unwrap(), versions);
    drop(ledger);
    let again = kept.open();
    assert_eq!((everything(&again).await, head(&again).await), (before.clone(), end));
    let mut reader = Reader::open(&kept.file()).unwrap();
    assert_eq!(reader.read(Position(0), usize::MAX).unwrap(), before);
    let file = kept.0.path().join(&first.file);
    assert!(first.file.is_relative() && fs::metadata(&file).unwrap().permissions().readonly());
    assert_eq!(fs::metadata(&file).unwrap().len(), first.size);
}

/// The folder with the ledger and its parts may go elsewhere as a whole.
#[tokio::test]
async fn a_ledger_is_moved_with_its_parts() {
    let kept = Kept::new();
    let ledger = sixty(&kept).await;
    let before = everything(&ledger).await;
    archive(&ledger, 30, &shelf(&kept)).await;
    drop(ledger);
    let elsewhere = Kept::new();
    for name in ["ledger.db", "ledger.archive"] {
        fs::rename(kept.0.path().join(name), elsewhere.0.path().join(name)).unwrap();
    }
    assert_eq!(everything(&elsewhere.open()).await, before);
}

/// A link in the place of the folder is followed, by those who read and by those who archive.
#[tokio::test]
async fn the_folder_may_become_a_link() {
    let (kept, other) = (Kept::new(), tempfile::tempdir().unwrap());
    let ledger = sixty(&kept).await;
    let before = everything(&ledger).await;
    archive(&ledger, 20, &shelf(&kept)).await;
    drop(ledger);
    fs::rename(shelf(&kept), other.path().join("moved")).unwrap();
    std::os::unix::fs::symlink(other.path().join("moved"), shelf(&kept)).unwrap();
    let ledger = kept.open();
    let part = archive(&ledger, 40, &shelf(&kept)).await;
    assert!(part.file.is_relative(), "{}", part.file.display());
    assert_eq!(fs::read_dir(other.path().join("moved")).unwrap().count(), 2);
    assert_eq!(everything(&ledger).await, before);
}

#[tokio::test]
async fn parts_may_lie_elsewhere() {
    let (kept, other) = (Kept::new(), tempfile::tempdir().unwrap());
    let ledger = sixty(&kept).await;
    let before = everything(&ledger).await;
    let part = archive(&ledger, 60, other.path()).await;
    assert!(part.file.is_absolute(), "{}", part.file.display());
    drop(ledger);
    let ledger = kept.open();
    assert_eq!(everything(&ledger).await, before);
    one(&ledger, append(&machine("b"), 20, [77])).await.unwrap();
    assert_eq!(counts(&ledger).await.len(), 61);
    assert_eq!(head(&ledger).await.0, 61, "the chain goes on from the part");
}

/// As a crash leaves it between the note of the part and the last sweep: rows that nobody reads.
#[tokio::test]
async fn rows_not_yet_swept_out_are_not_seen_twice() {
    let kept = Kept::new();
    let ledger = sixty(&kept).await;
    let before = everything(&ledger).await;
    let versions = ledger.versions().await.unwrap();
    drop(ledger);
    let copy = kept.0.path().join("copy.db");
    fs::copy(kept.file(), &copy).unwrap();
    archive(&kept.open(), 40, &shelf(&kept)).await;
    let crashed = Connection::open(&copy).unwrap();
    crashed.execute("ATTACH ?1 AS done", [kept.file().to_str().unwrap()]).unwrap();
    crashed.execute("INSERT INTO part SELECT * FROM done.part", []).unwrap();
    crashed.execute("DELETE FROM event WHERE position <= 7", []).unwrap();
    let swept = "INSERT INTO archived VALUES ('machine/drucker-ü', 5), ('machine/b', 2)";
    crashed.execute(swept, []).unwrap();
    drop(crashed);
    let again = SqliteLedger::open(&copy).unwrap();
    assert_eq!(rows(&copy), 53);
    assert_eq!(
        (everything(&again).await, again.versions().await.unwrap()),
        (before.clone(), versions)
    );
    for stream in [machine("b"), machine("drucker-ü")] {
        let all: Vec<_> =
            before.iter().filter(|one| one.stream == stream.to_string()).cloned().collect();
        assert_eq!(again.read_stream(&stream, 0, 99).await.unwrap(), all);
        let back: Vec<_> = all.into_iter().rev().collect();
        assert_eq!(again.read_stream_back(&stream, 99).await.unwrap(), back);
    }
    assert!(again.archive_by(Position(40), &shelf(&kept), SMALL).await.unwrap().is_none());
    assert_eq!(rows(&copy), 20, "swept the next time");
    assert_eq!(everything(&again).await, before);
}

/// A crash may leave a file half done, or a whole part of which the ledger does not know.
#[tokio::test]
async fn what_a_crash_left_in_the_folder_is_replaced() {
    let kept = Kept::new();
    drop(sixty(&kept).await);
    let copy = kept.0.path().join("copy.db");
    fs::copy(kept.file(), &copy).unwrap();
    let part = archive(&kept.open(), 40, &shelf(&kept)).await;
    fs::rename(&copy, kept.file()).unwrap();
    let ledger = kept.open();
    assert_eq!(ledger.parts().await.unwrap(), []);
    assert_eq!(archive(&ledger, 40, &shelf(&kept)).await, part);
    assert_eq!(fs::read_dir(shelf(&kept)).unwrap().count(), 1);
}

/// What was edited by hand must not become a sound part.
#[tokio::test]
async fn a_broken_chain_is_not_archived() {
    let kept = Kept::new();
    drop(sixty(&kept).await);
    let hand = Connection::open(kept.file()).unwrap();
    let edit = "DROP TRIGGER event_stays_as_it_is;
        UPDATE event SET body = replace(body, ':1}', ':0}') WHERE position = 32;";
    hand.execute_batch(edit).unwrap();
    let ledger = kept.open();
    let refused = ledger.archive_by(Position(40), &shelf(&kept), SMALL).await.unwrap_err();
    assert!(matches!(refused, ArchiveError::Broken(Position(32))), "{refused:?}");
    assert_eq!(ledger.parts().await.unwrap(), []);
    assert_eq!(rows(&kept.file()), 60);
    assert_eq!(fs::read_dir(shelf(&kept)).unwrap().count(), 0);
    assert_eq!(archive(&ledger, 31, &shelf(&kept)).await.last, Position(31), "up to there");
}

#[tokio::test]
async fn a_part_that_is_full_ends() {
    let kept = Kept::new();
    let ledger = sixty(&kept).await;
    let sizes = Sizes { block: 4, part: 25 };
    let mut lengths = Vec::new();
    while let Some(part) = ledger.archive_by(Position(58), &shelf(&kept), sizes).await.unwrap() {
        lengths.push(part.events());
    }
    assert_eq!(lengths, [25, 25, 8]);
    assert_eq!(head(&ledger).await.0, 60);
}

#[tokio::test]
async fn the_file_shrinks_when_it_is_told_to() {
    let kept = Kept::new();
    let ledger = kept.open();
    for number in 0..20 {
        one(&ledger, append(&machine("a"), number * 500, number * 500..(number + 1) * 500))
            .await
            .unwrap();
    }
    let part = ledger.archive(Position(9_000), &shelf(&kept)).await.unwrap().unwrap();
    ledger.close().await;
    let before = fs::metadata(kept.file()).unwrap().len();
    let ledger = kept.open();
    ledger.shrink().await.unwrap();
    let after = fs::metadata(kept.file()).unwrap().len();
    assert!(after * 5 < before, "{before} to {after}");
    assert!(part.size * 5 < before, "{} of {before}", part.size);
    assert_eq!(counts(&ledger).await, (0..10_000).collect::<Vec<_>>());
}

fn at(stream: &str, number: u64, at: i64) -> Append {
    let mut append = append(&machine(stream), number, [number]);
    append.facts[0].at = Timestamp(at);
    append
}

#[tokio::test]
async fn what_is_old_is_found_by_its_time() {
    let kept = Kept::new();
    let ledger = kept.open();
    assert_eq!(ledger.last_before(Timestamp(9)).await.unwrap(), Position(0));
    for number in 0..100 {
        ledger.append(vec![at("a", number, 10 * i64::try_from(number).unwrap())]).await.unwrap();
    }
    for (time, last) in [(0, 0), (1, 1), (10, 1), (11, 2), (500, 50), (991, 100), (i64::MAX, 100)] {
        assert_eq!(ledger.last_before(Timestamp(time)).await.unwrap(), Position(last), "{time}");
    }
    let part = archive(&ledger, 60, &shelf(&kept)).await;
    assert_eq!((part.earliest, part.latest), (Timestamp(0), Timestamp(590)));
    assert_eq!(ledger.last_before(Timestamp(500)).await.unwrap(), Position(60), "they are there");
    assert_eq!(ledger.last_before(Timestamp(700)).await.unwrap(), Position(70));
}

#[derive(Debug, Clone)]
enum Step {
    Append { stream: u8, facts: u64 },
    Archive { share: u8, block: usize, part: u64 },
    Reopen,
}

fn steps() -> impl Strategy<Value = Vec<Step>> {
    let step = prop_oneof![
        6 => (0..4_u8, 1..30_u64).prop_map(|(stream, facts)| Step::Append { stream, facts }),
        3 => (0..=100_u8, 1..12_usize, 1..40_u64)
            .prop_map(|(share, block, part)| Step::Archive { share, block, part }),
        1 => Just(Step::Reopen),
    ];
    prop::collection::vec(step, 1..16)
}

/// Whatever was archived when: every read gives what it gives where nothing was.
#[test]
fn reads_are_those_of_a_ledger_without_parts() {
    let runtime = tokio::runtime::Builder::new_multi_thread().enable_all().build().unwrap();
    let config = Config { failure_persistence: None, ..Config::with_cases(32) };
    let reads = prop::collection::vec((any::<u16>(), 0..40_usize), 1..40);
    let result = TestRunner::new(config).run(&(steps(), reads), |(steps, reads)| {
        runtime.block_on(compare(&steps, &reads));
        Ok(())
    });
    assert!(result.is_ok(), "{}", result.unwrap_err());
}

async fn compare(steps: &[Step], reads: &[(u16, usize)]) {
    let (kept, plain) = (Kept::new(), Kept::new());
    let (mut ledger, other) = (kept.open(), plain.open());
    for step in steps {
        match *step {
            Step::Append { stream, facts } => {
                let name = machine(&format!("m{stream}"));
                let version = other.versions().await.unwrap().get(&name).copied().unwrap_or(0);
                let facts = (0..facts).map(|count| counted(&name, count)).collect();
                let batch = crate::suite::batch(version);
                let append = Append { stream: name, expected: version, batch, facts };
                let answer = one(&ledger, append.clone()).await;
                assert_eq!(answer, one(&other, append).await);
            }
            Step::Archive { share, block, part } => {
                let last = Position(ledger.head().borrow().0 * u64::from(share) / 100);
                let sizes = Sizes { block, part };
                ledger.archive_by(last, &shelf(&kept), sizes).await.unwrap();
            }
            Step::Reopen => {
                ledger.close().await;
                ledger = kept.open();
            }
        }
    }
    assert_eq!(head(&ledger).await, head(&other).await);
    let mut reader = Reader::open(&kept.file()).unwrap();
    let events = other.head().borrow().0 + 3;
    for (number, limit) in reads {
        let after = u64::from(*number) % events;
        let expected = other.read(Position(after), *limit).await.unwrap();
        assert_eq!(ledger.read(Position(after), *limit).await.unwrap(), expected);
        assert_eq!(reader.read(Position(after), *limit).unwrap(), expected);
        let (mine, theirs) =
            (ledger.rows(Position(after), *limit), other.rows(Position(after), *limit));
        assert_eq!(mine.await.unwrap(), theirs.await.unwrap());
        let stream = machine(&format!("m{}", number % 5));
        let of = async |ledger: &SqliteLedger| -> (Vec<Entry>, Vec<Entry>) {
            let forth = ledger.read_stream(&stream, after / 4, *limit).await.unwrap();
            (forth, ledger.read_stream_back(&stream, *limit).await.unwrap())
        };
        assert_eq!(of(&ledger).await, of(&other).await);
    }
}
