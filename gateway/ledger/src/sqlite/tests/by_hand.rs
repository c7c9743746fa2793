//! The chain recomputed without this crate: from the raw rows, and by the script of README.md.

use std::io::Write;
use std::path::Path;
use std::process::{Command, Output, Stdio};

use rusqlite::Connection;
use sha2::{Digest, Sha256};

use super::Kept;
use super::archiving::{archive, shelf};
use crate::contract::Ledger;
use crate::suite::{append, machine};
use crate::verify::{Verified, verify};

async fn some(kept: &Kept) -> [u8; 32] {
    let ledger = kept.open();
    let (a, b) = (machine("drucker-ü"), machine("b"));
    for number in 0..20 {
        let call = vec![append(&a, number * 2, [number, 1]), append(&b, number, [number])];
        ledger.append(call).await.unwrap();
    }
    match verify(&ledger, |_| {}).await.unwrap() {
        Verified::Whole { hash, .. } => hash,
        broken @ Verified::Broken { .. } => unreachable!("{broken:?}"),
    }
}

/// The bytes as the documentation of [`crate::chain`] lists them, put together here anew.
#[tokio::test]
async fn the_documented_bytes_give_the_stored_hashes() {
    let kept = Kept::new();
    let head = some(&kept).await;
    let file = Connection::open(kept.file()).unwrap();
    let all = "SELECT position, stream, version, batch, body, hash FROM event ORDER BY position";
    let mut statement = file.prepare(all).unwrap();
    let mut rows = statement.query([]).unwrap();
    let (mut hash, mut seen) = (vec![0_u8; 32], 0);
    while let Some(row) = rows.next().unwrap() {
        let (stream, body): (String, String) = (row.get(1).unwrap(), row.get(4).unwrap());
        let batch: Vec<u8> = row.get(3).unwrap();
        let mut bytes = hash.clone();
        bytes.extend(row.get::<_, i64>(0).unwrap().to_be_bytes());
        bytes.extend((stream.len() as u64).to_be_bytes());
        bytes.extend(stream.as_bytes());
        bytes.extend(row.get::<_, i64>(2).unwrap().to_be_bytes());
        bytes.extend(batch);
        bytes.extend((body.len() as u64).to_be_bytes());
        bytes.extend(body.as_bytes());
        hash = Sha256::digest(&bytes).to_vec();
        assert_eq!(row.get::<_, Vec<u8>>(5).unwrap(), hash);
        seen += 1;
    }
    assert_eq!((seen, hash), (60, head.to_vec()));
}

/// The script between the fences of README.md.
fn script() -> String {
    let readme = include_str!("../../../README.md");
    let (_, rest) = readme.split_once("```python\n").unwrap();
    let (script, _) = rest.split_once("```").unwrap();
    script.to_owned()
}

/// None, said aloud, when there is no Python here; with `CI=true` that is a failure.
fn run(file: &Path) -> Option<Output> {
    let python =
        Command::new("python3").args(["-c", &script()]).arg(file).stdin(Stdio::null()).output();
    if let Err(error) = &python {
        let line = format!("SKIPPED the README's script: python3 cannot be run: {error}");
        assert!(std::env::var("CI").as_deref() != Ok("true"), "{line}");
        writeln!(std::io::stderr(), "{line}").ok();
    }
    python.ok()
}

#[tokio::test]
async fn the_script_of_the_readme_agrees() {
    let kept = Kept::new();
    let head = some(&kept).await;
    let Some(output) = run(&kept.file()) else {
        return;
    };
    let hex: String = head.iter().map(|byte| format!("{byte:02x}")).collect();
    let said = String::from_utf8_lossy(&output.stdout);
    assert_eq!(said.trim(), format!("whole up to 60, hash {hex}"), "{output:?}");
    assert!(output.status.success());

    let hand = Connection::open(kept.file()).unwrap();
    let edit = "DROP TRIGGER event_stays_as_it_is;
        UPDATE event SET body = replace(body, ':1}', ':0}') WHERE position = 32;";
    hand.execute_batch(edit).unwrap();
    let output = run(&kept.file()).unwrap();
    let said = String::from_utf8_lossy(&output.stderr);
    assert_eq!(said.trim(), "broken at 32");
    assert_eq!(output.status.code(), Some(1));
}

#[tokio::test]
async fn the_script_of_the_readme_reads_parts() {
    let kept = Kept::new();
    let head = some(&kept).await;
    let ledger = kept.open();
    archive(&ledger, 17, &shelf(&kept)).await;
    let part = archive(&ledger, 40, &shelf(&kept)).await;
    drop(ledger);
    let Some(output) = run(&kept.file()) else {
        return;
    };
    let hex: String = head.iter().map(|byte| format!("{byte:02x}")).collect();
    let said = String::from_utf8_lossy(&output.stdout);
    assert_eq!(said.trim(), format!("whole up to 60, hash {hex}"), "{output:?}");

    let file = kept.0.path().join(part.file);
    let bytes = std::fs::read(&file).unwrap();
    std::fs::remove_file(&file).unwrap();
    std::fs::write(&file, bytes).unwrap();
    let hand = Connection::open(&file).unwrap();
    hand.execute("UPDATE block SET hash = zeroblob(32) WHERE last = 25", []).unwrap();
    let output = run(&kept.file()).unwrap();
    assert_eq!(String::from_utf8_lossy(&output.stderr).trim(), "broken at 25 or before");
}
