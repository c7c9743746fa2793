//! A real disk that fills up while a part is written to it.

use std::fs;
use std::process::Command;

use stencilward_tests::{ledger_read, missing};

use crate::plant::{Plant, said};

/// Runs a command in mounts of its own with a disk of so many KiB at `folder`; none, said aloud,
/// where this user may not mount.
fn with_disk(folder: &str, size: u32, command: &Command) -> Option<std::process::Output> {
    missing::program("unshare", "Debian package util-linux")?;
    let mounted = format!("mount -t tmpfs -o size={size}k none \"$0\" && exec \"$@\"");
    let mut unshare = Command::new("unshare");
    unshare.args(["--user", "--map-root-user", "--mount"]);
    let may = Command::new("unshare")
        .args(["--user", "--map-root-user", "--mount", "mount", "-t", "tmpfs", "none", folder])
        .output();
    if !may.unwrap().status.success() {
        missing::skip("this user may not mount in a name space of its own");
        return None;
    }
    unshare.args(["sh", "-c", &mounted, folder]);
    unshare.arg(command.get_program()).args(command.get_args());
    Some(unshare.output().unwrap())
}

#[tokio::test]
async fn a_full_disk_moves_nothing_and_loses_nothing() {
    let plant = Plant::with_past("").await;
    let before = ledger_read::recorded(&plant.path("plant.db")).await;
    fs::create_dir(plant.path("small")).unwrap();
    let small = plant.path("small").display().to_string();
    let mut command = plant.command("archive");
    command.args(["--older-than", "1day", "--to", &small]);
    let Some(output) = with_disk(&small, 20, &command) else { return };
    assert!(!output.status.success(), "{}", said(&output));
    let told = said(&output);
    assert!(told.contains("cannot take a part: see that it is there and has room"), "{told}");
    assert!(told.contains("full") || told.contains("No space left"), "{told}");
    assert_eq!(ledger_read::recorded(&plant.path("plant.db")).await, before);
    plant.done("archive", &["--older-than", "1day", "--to", &small]);
    assert_eq!(ledger_read::recorded(&plant.path("plant.db")).await, before);
}
