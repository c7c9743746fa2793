//! An upgrade that ends in between: the disk is full, or the program is killed at any of its writes.

use std::fs;
use std::process::Command;

use super::old::{FIRST, LAST};
use super::{Plant, rows, schema, walked};

/// Of a frame in SQLite's log, and of the log itself, before its pages (SQLite, "WAL File Format").
const FRAME: usize = 24;
const HEAD: usize = 32;
const PAGE: usize = 4_096;

#[tokio::test]
async fn without_room_the_old_ledger_stays_and_the_next_start_goes_on() {
    let plant = Plant::with(&FIRST.ledger());
    let before = fs::read(plant.ledger()).unwrap();
    let run = plant.command("run");
    let mut shell = Command::new("bash");
    shell.args(["-c", "trap '' XFSZ; ulimit -f 4; exec \"$@\"", "bash"]);
    let output = shell.arg(run.get_program()).args(run.get_args()).output().unwrap();
    assert!(!output.status.success());
    let told = [output.stdout, output.stderr].concat();
    let told = String::from_utf8_lossy(&told).into_owned();
    assert!(told.contains("see that its disk is there and has room"), "{told}");
    assert_eq!(schema(&plant.ledger()), (1, false));
    assert_eq!(rows(&plant.ledger()), rows(&FIRST.ledger()));
    assert_eq!(walked(&plant.ledger()).as_deref().unwrap_or(FIRST.walked), FIRST.walked);
    assert_eq!(fs::read(plant.ledger()).unwrap(), before, "not a byte was changed");

    let mut gateway = plant.run().await;
    gateway.stop();
    assert_eq!(schema(&plant.ledger()), (3, true));
}

/// All that the upgrade writes goes to the log first. What lies there when it is cut off between
/// any two of its pages, or in the middle of one, is the old ledger or the new one.
#[tokio::test]
async fn killed_at_any_write_it_is_the_old_ledger_or_the_new() {
    let plant = Plant::with(&LAST.ledger());
    let mut gateway = plant.run().await;
    gateway.kill();
    let log = fs::read(plant.folder.path().join("plant.db-wal")).unwrap();
    assert_eq!(fs::read(plant.ledger()).unwrap(), fs::read(LAST.ledger()).unwrap());
    let frames = (log.len() - HEAD) / (FRAME + PAGE);
    assert!(frames > 2, "{frames} pages");
    let old = rows(&LAST.ledger());
    let mut schemas = Vec::new();
    for half in 0..=frames * 2 {
        let other = Plant::with(&LAST.ledger());
        let length = HEAD + half * (FRAME + PAGE) / 2;
        fs::write(other.folder.path().join("plant.db-wal"), &log[..length]).unwrap();
        schemas.push(schema(&other.ledger()));
        let rows = rows(&other.ledger());
        assert_eq!(rows[..old.len()], old[..]);
        assert!(schemas.ends_with(&[(3, true)]) || rows.len() == old.len(), "nothing new yet");
    }
    schemas.dedup();
    assert_eq!(schemas, [(1, false), (3, true)], "at once, and once");
}
