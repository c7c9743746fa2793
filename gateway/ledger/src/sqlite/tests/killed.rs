//! A process killed while it appends: whatever it was told is kept is there.
//!
//! The test starts its own program again, tells it by a variable to append without end, kills it
//! with SIGKILL and opens the ledger it left.

use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};

use stencilward_domain::event::Position;

use super::Kept;
use crate::contract::Ledger;
use crate::sqlite::{OpenError, Reader, SqliteLedger};
use crate::suite::{append, count, everything, machine};
use crate::verify::{Verified, verify};

const FILE: &str = "STENCILWARD_TEST_LEDGER";
const SAYS: &str = "kept ";
const STREAMS: u64 = 3;

/// Not a test by itself: what the killed process does. Does nothing unless told to.
#[tokio::test]
async fn child_that_appends_until_killed() {
    let Some(file) = std::env::var_os(FILE) else {
        return;
    };
    let ledger = SqliteLedger::open(Path::new(&file)).unwrap();
    loop {
        let versions = ledger.versions().await.unwrap();
        let mut number = ledger.head().borrow().0;
        let mut call = Vec::new();
        for stream in (0..STREAMS).map(|n| machine(&format!("m{n}"))) {
            let version = versions.get(&stream).copied().unwrap_or(0);
            call.push(append(&stream, version, [number, number + 1]));
            number += 2;
        }
        for answer in ledger.append(call).await.unwrap() {
            let appended = answer.unwrap();
            println!("{SAYS}{} {}", appended.first.0, appended.last.0);
        }
    }
}

/// Kills the process when it goes out of scope, also when the test fails.
struct Killed(Child);

impl Drop for Killed {
    fn drop(&mut self) {
        self.0.kill().unwrap();
        self.0.wait().unwrap();
    }
}

/// Lets a child append until it has told of `calls` calls, kills it, and gives the last place it
/// told of.
fn append_and_die(file: &Path, calls: usize) -> u64 {
    let mut command = Command::new(std::env::current_exe().unwrap());
    let name = "sqlite::tests::killed::child_that_appends_until_killed";
    command.args(["--exact", name, "--nocapture", "--test-threads=1"]);
    command.env(FILE, file).stdout(Stdio::piped()).stdin(Stdio::null());
    let mut child = Killed(command.spawn().unwrap());
    let lines = BufReader::new(child.0.stdout.take().unwrap()).lines();
    let mut told = lines.map_while(Result::ok).filter_map(|line| {
        let (first, last) = line.strip_prefix(SAYS)?.split_once(' ')?;
        Some((first.parse::<u64>().unwrap(), last.parse::<u64>().unwrap()))
    });
    let mut end = 0;
    for (first, last) in told.by_ref().take(calls) {
        assert!(first > end && last == first + 1);
        end = last;
    }
    assert!(end > 0, "the child told of nothing");
    let second = SqliteLedger::open(file);
    assert!(matches!(second, Err(OpenError::InUse)), "while the child is at work");
    child.0.kill().unwrap();
    // What it had told of before it died counts too.
    told.last().map_or(end, |(_, last)| last)
}

#[tokio::test]
async fn everything_acknowledged_is_there_after_kill_9() {
    let kept = Kept::new();
    for calls in [1, 3, 10, 50, 200, 7] {
        let told = append_and_die(&kept.file(), calls);
        let mut reader = Reader::open(&kept.file()).unwrap();
        let seen = reader.read(Position(0), usize::MAX).unwrap().len();
        assert!(seen as u64 >= told, "{told} told, {seen} seen from outside");
        drop(reader);
        let ledger = kept.open();
        let entries = everything(&ledger).await;
        assert_eq!(entries.len(), seen);
        assert!(entries.len() as u64 >= told, "{told} told, {} there", entries.len());
        assert_eq!(ledger.head().borrow().0, entries.len() as u64);
        for (entry, number) in entries.iter().zip(0..) {
            assert_eq!(count(&entry.recorded.fact), number, "each once, in order");
        }
        assert_eq!(entries.len() as u64 % (STREAMS * 2), 0, "calls are whole here");
        let walked = verify(&ledger, |_| {}).await.unwrap();
        let end = Position(entries.len() as u64);
        assert!(matches!(walked, Verified::Whole { head, .. } if head == end));
    }
}
