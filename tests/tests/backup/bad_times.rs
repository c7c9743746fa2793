//! Full disks, kills in between, and two at once: no file looks like a backup that is none, and the
//! ledger that was there stays until another has taken its place.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::{Command, Output};

use stencilward_domain::event::{Event, Fact, Stream};
use stencilward_domain::time::Timestamp;
use stencilward_ledger::{Append, BatchId, Ledger as _, SqliteLedger};
use stencilward_tests::child::Child;
use stencilward_tests::wait::eventually;
use stencilward_tests::{ledger_read, missing};

use super::{LIMIT, Plant, backups, names, said};

/// So many that a copy and the walk along it take long enough to be killed in.
const MANY: u64 = 30_000;

/// A plant with a ledger of that many events.
async fn large() -> Plant {
    let plant = Plant::new();
    let ledger = SqliteLedger::open(&plant.path("plant.db")).unwrap();
    let stream = Stream::Site;
    let event = || Event::GatewayStarted { version: "0.1.0".to_owned() };
    for lot in 0..MANY / 1_000 {
        let fact = |at| Fact {
            at: Timestamp(at),
            machine_time: None,
            happened: None,
            identity: None,
            sender: None,
            asked_with: None,
            event: event(),
        };
        let facts = (0..1_000).map(fact).collect();
        let batch = BatchId(u128::from(lot).to_be_bytes());
        let append = Append { stream: stream.clone(), expected: lot * 1_000, batch, facts };
        ledger.append(vec![append]).await.unwrap()[0].as_ref().unwrap();
    }
    ledger.close().await;
    plant
}

/// Waits until a copy is being made in this folder.
async fn begun(folder: &Path, beginning: &str) -> PathBuf {
    eventually("a copy is being made", LIMIT, async || {
        let unfinished = names(folder).into_iter().find(|path| {
            let name = path.file_name().unwrap().to_string_lossy().into_owned();
            name.starts_with(beginning) && path.join("copy.db").exists()
        });
        unfinished.ok_or("nothing yet")
    })
    .await
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_killed_backup_leaves_none_and_the_next_clears_up() {
    let plant = large().await;
    let folder = plant.path("kept");
    let mut backup = Child::start(plant.command("backup").arg(&folder));
    let left = begun(&folder, ".unfinished-backup-").await;
    let second = plant.command("backup").arg(&folder).output().unwrap();
    assert!(said(&second).contains("another backup is being taken"), "{}", said(&second));
    assert!(!backup.kill().success(), "killed in time: {}", backup.transcript());
    assert_eq!(names(&folder), [left], "and nothing that looks like a backup");
    let kept = plant.back_up();
    assert_eq!(names(&folder), [kept.as_path()]);
    assert_eq!(ledger_read::events(&kept).await.len() as u64, MANY);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_killed_restore_leaves_the_old_ledger_and_the_next_clears_up() {
    let plant = large().await;
    let backup = plant.back_up();
    let other = Plant::new();
    let mut gateway = other.run().await;
    gateway.stop();
    let ledger = other.path("plant.db");
    let before = fs::read(&ledger).unwrap();
    let mut restore = Child::start(other.command("restore").arg(&backup).arg("--replace"));
    let left = begun(other.folder.path(), ".unfinished-restore-").await;
    let refused = other.restore(&backup, &["--replace"]);
    assert!(said(&refused).contains("has this ledger open"), "{}", said(&refused));
    assert!(!restore.kill().success(), "killed in time: {}", restore.transcript());
    assert_eq!(fs::read(&ledger).unwrap(), before);
    let mut gateway = other.run().await;
    gateway.stop();
    let done = other.restore(&backup, &["--replace"]);
    assert!(done.status.success(), "{}", said(&done));
    assert!(!left.exists(), "what was left is cleared away");
    assert_eq!(ledger_read::events(&ledger).await.len() as u64, MANY);
}

/// The shell caps what may be written to one file, as quotas do.
#[tokio::test]
async fn a_backup_that_finds_no_room_leaves_nothing() {
    let plant = large().await;
    let folder = plant.path("kept");
    let script = "trap '' XFSZ; ulimit -f 1000; exec \"$@\"";
    let output = in_shell(script, plant.command("backup").arg(&folder));
    assert!(!output.status.success());
    assert!(said(&output).contains("no backup was taken"), "{}", said(&output));
    assert_eq!(names(&folder), Vec::<PathBuf>::new());
}

#[tokio::test]
async fn a_backup_to_a_full_disk_says_so_and_leaves_nothing() {
    let plant = large().await;
    let folder = plant.path("kept");
    fs::create_dir(&folder).unwrap();
    let script = "mount -t tmpfs -o size=1m none \"$FOLDER\" && { \"$@\"; status=$?; \
                  echo \"left: $(ls -A \"$FOLDER\")\"; exit $status; }";
    let mut command = Command::new("unshare");
    command.args(["--user", "--map-root-user", "--mount", "true"]);
    if !command.output().is_ok_and(|output| output.status.success()) {
        missing::skip("no small disk can be mounted here (unshare --user --mount)");
        return;
    }
    let mut command = Command::new("unshare");
    command.args(["--user", "--map-root-user", "--mount", "sh", "-c", script, "sh"]);
    let backup = plant.command("backup");
    command.arg(backup.get_program()).args(backup.get_args()).arg(&folder).env("FOLDER", &folder);
    let output = command.output().unwrap();
    assert!(!output.status.success());
    let told = said(&output);
    assert!(told.contains("no backup was taken") && told.contains("has room"), "{told}");
    assert!(told.lines().any(|line| line == "left: "), "{told}");
}

#[tokio::test]
async fn a_restore_that_finds_no_room_leaves_the_old_ledger() {
    let plant = large().await;
    let backup = plant.back_up();
    let other = Plant::new();
    let mut gateway = other.run().await;
    gateway.stop();
    let before = fs::read(other.path("plant.db")).unwrap();
    let script = "trap '' XFSZ; ulimit -f 1000; exec \"$@\"";
    let output = in_shell(script, other.command("restore").arg(&backup).arg("--replace"));
    assert!(said(&output).contains("nothing was brought back"), "{}", said(&output));
    assert_eq!(fs::read(other.path("plant.db")).unwrap(), before);
    assert_eq!(backups(other.folder.path()), [other.path("plant.db")], "nothing was put aside");
}

#[test]
fn a_file_is_no_folder_for_backups_and_a_folder_beside_the_ledger_is_told_of() {
    let plant = Plant::new();
    let ledger = plant.path("plant.db");
    drop(SqliteLedger::open(&ledger).unwrap());
    let before = fs::read(&ledger).unwrap();
    let refused = plant.command("backup").arg(&ledger).output().unwrap();
    assert!(said(&refused).contains("name another folder"), "{}", said(&refused));
    assert_eq!(fs::read(&ledger).unwrap(), before);
    let done = plant.command("backup").arg(plant.folder.path()).output().unwrap();
    assert!(done.status.success(), "{}", said(&done));
    assert!(said(&done).contains("the ledger's own disk"), "{}", said(&done));
    assert_eq!(backups(plant.folder.path()).len(), 2);
}

fn in_shell(script: &str, command: &Command) -> Output {
    let mut shell = Command::new("bash");
    shell.args(["-c", script, "bash"]).arg(command.get_program()).args(command.get_args());
    shell.output().unwrap()
}
