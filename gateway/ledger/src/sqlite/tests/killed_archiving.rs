//! A process killed while it appends and archives: every event is there once, and it goes on.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::Duration;

use rusqlite::Connection;
use stencilward_domain::event::Position;

use super::Kept;
use super::archiving::shelf;
use crate::contract::Ledger;
use crate::sqlite::part::Sizes;
use crate::sqlite::{Reader, SqliteLedger};
use crate::suite::{append, count, everything, machine, one};
use crate::verify::{Verified, verify};

const FILE: &str = "STENCILWARD_TEST_ARCHIVED_LEDGER";
const ROUNDS: u64 = 30;
const SIZES: Sizes = Sizes { block: 10, part: 105 };

/// Not a test by itself: what the killed process does. Does nothing unless told to.
#[tokio::test]
async fn child_that_archives_until_killed() {
    let Some(file) = std::env::var_os(FILE) else {
        return;
    };
    let ledger = SqliteLedger::open(Path::new(&file)).unwrap();
    let folder = Path::new(&file).with_extension("archive");
    loop {
        for name in ["a", "b"] {
            let stream = machine(name);
            let version = ledger.versions().await.unwrap().get(&stream).copied().unwrap_or(0);
            let head = ledger.head().borrow().0;
            one(&ledger, append(&stream, version, head..head + 60)).await.unwrap();
        }
        let last = Position(ledger.head().borrow().0.saturating_sub(45));
        ledger.archive_by(last, &folder, SIZES).await.unwrap();
    }
}

struct Killed(Child);

impl Drop for Killed {
    fn drop(&mut self) {
        self.0.kill().unwrap();
        self.0.wait().unwrap();
    }
}

fn run(file: &Path) -> Killed {
    let mut command = Command::new(std::env::current_exe().unwrap());
    let name = "sqlite::tests::killed_archiving::child_that_archives_until_killed";
    command.args(["--exact", name, "--nocapture", "--test-threads=1"]);
    command.env(FILE, file).stdout(Stdio::null()).stdin(Stdio::null());
    Killed(command.spawn().unwrap())
}

fn rows(file: &Path) -> u64 {
    let file = Connection::open(file).unwrap();
    let count: i64 = file.query_row("SELECT count(*) FROM event", [], |row| row.get(0)).unwrap();
    u64::try_from(count).unwrap()
}

#[tokio::test]
async fn every_event_is_there_once_whenever_it_is_killed() {
    let kept = Kept::new();
    let (mut seen, mut halfway) = (0, BTreeSet::new());
    for round in 0..ROUNDS {
        let child = run(&kept.file());
        // Spread over what one turn of the child takes, whatever this machine is.
        tokio::time::sleep(Duration::from_millis(60 + round * 37 % 200)).await;
        drop(child);
        if !kept.file().exists() {
            continue;
        }
        let unfinished = fs_names(&kept).into_iter().any(|name| name.ends_with("unfinished"));
        let from_outside = Reader::open(&kept.file()).map(|mut reader| {
            let entries = reader.read(Position(0), usize::MAX).unwrap();
            (entries.len(), reader.parts().unwrap())
        });
        let ledger = kept.open();
        let entries = everything(&ledger).await;
        if let Ok((length, parts)) = from_outside {
            assert_eq!((length, parts), (entries.len(), ledger.parts().await.unwrap()));
        }
        for (entry, number) in entries.iter().zip(0..) {
            assert_eq!(count(&entry.recorded.fact), number, "each once, in order");
        }
        let head = entries.len() as u64;
        assert!(head >= seen, "{seen} seen before, {head} now");
        seen = head;
        let end = ledger.parts().await.unwrap().last().map_or(0, |part| part.last.0);
        let walked = verify(&ledger, |_| {}).await.unwrap();
        assert!(matches!(walked, Verified::Whole { head: Position(last), .. } if last == head));
        for part in ledger.parts().await.unwrap() {
            part.check_in(kept.0.path()).unwrap();
        }
        let left = rows(&kept.file()) - (head - end);
        halfway.insert((unfinished, left > 0));
        ledger.close().await;
    }
    let ledger = kept.open();
    ledger.archive_by(Position(seen), &shelf(&kept), SIZES).await.unwrap().unwrap();
    let names = fs_names(&kept);
    assert!(names.iter().all(|name| name.ends_with(".part")), "{names:?}");
    assert!(seen > 500, "{seen} events, killed {halfway:?}");
}

fn fs_names(kept: &Kept) -> Vec<String> {
    let Ok(folder) = std::fs::read_dir(shelf(kept)) else { return Vec::new() };
    folder.map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect()
}
