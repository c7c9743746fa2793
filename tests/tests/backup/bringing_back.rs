//! What is brought back, what is put aside for it, and what is refused.

use std::fs;
use std::os::unix::fs::{MetadataExt as _, PermissionsExt as _};
use std::path::{Path, PathBuf};

use stencilward_ledger::SqliteLedger;
use stencilward_tests::ledger_read;

use super::{Plant, names, said};

#[tokio::test]
async fn what_is_there_or_damaged_is_not_brought_back() {
    let plant = Plant::new();
    let mut gateway = plant.run().await;
    let backup = plant.back_up();
    let refused = plant.restore(&backup, &[]);
    assert!(said(&refused).contains("--replace puts it aside"), "{}", said(&refused));
    let refused = plant.restore(&backup, &["--replace"]);
    assert!(said(&refused).contains("another gateway has this ledger open"), "{}", said(&refused));
    gateway.stop();

    let mut bytes = fs::read(&backup).unwrap();
    let told = b"gateway-started";
    let at = bytes.windows(told.len()).position(|part| part == told).unwrap();
    bytes[at] ^= 1;
    let damaged = plant.path("damaged.db");
    fs::write(&damaged, bytes).unwrap();
    let before = fs::read(plant.path("plant.db")).unwrap();
    let refused = plant.restore(&damaged, &["--replace"]);
    assert!(!refused.status.success());
    assert!(said(&refused).contains("does not fit the ones before it"), "{}", said(&refused));
    let refused = plant.restore(&plant.path("plant.db"), &["--replace"]);
    assert!(said(&refused).contains("is the ledger itself"), "{}", said(&refused));
    assert_eq!(fs::read(plant.path("plant.db")).unwrap(), before, "nothing was changed");

    let done = plant.restore(&backup, &["--replace"]);
    assert!(done.status.success(), "{}", said(&done));
    let mut gateway = plant.run().await;
    gateway.stop();
    ledger_read::events(&plant.path("plant.db")).await;
}

/// Who may sign in is brought back with the ledger, for the gateway's user alone; those who were
/// there are put aside with theirs.
#[test]
fn people_come_back_with_the_ledger() {
    let plant = Plant::new();
    admit(&plant, "Anna");
    drop(SqliteLedger::open(&plant.path("plant.db")).unwrap());
    let backup = plant.back_up();
    let other = Plant::new();
    admit(&other, "Berta");
    drop(SqliteLedger::open(&other.path("plant.db")).unwrap());
    let output = other.restore(&backup, &["--replace"]);
    assert!(output.status.success(), "{}", said(&output));
    let people = fs::metadata(other.path("plant.people.json")).unwrap();
    assert_eq!(people.mode() & 0o777, 0o600);
    let shown = said(&other.command("people").output().unwrap());
    assert!(shown.contains("Anna") && !shown.contains("Berta"), "{shown}");
    let aside = names(other.folder.path()).into_iter().find(|path| {
        let name = path.file_name().unwrap().to_string_lossy().into_owned();
        name.starts_with("plant.before-") && name.ends_with(".people.json")
    });
    assert!(fs::read_to_string(aside.unwrap()).unwrap().contains("Berta"));
}

#[test]
fn people_that_others_may_read_are_not_kept_and_what_was_brought_back_is_said() {
    let plant = Plant::new();
    admit(&plant, "Anna");
    drop(SqliteLedger::open(&plant.path("plant.db")).unwrap());
    let open = |path: &Path, mode| {
        fs::set_permissions(path, fs::Permissions::from_mode(mode)).unwrap();
    };
    open(&plant.path("plant.people.json"), 0o644);
    let output = plant.command("backup").arg(plant.path("kept")).output().unwrap();
    assert!(!output.status.success());
    assert!(said(&output).contains("no backup was taken"), "{}", said(&output));
    assert!(said(&output).contains("others may read"), "{}", said(&output));
    assert_eq!(names(&plant.path("kept")), Vec::<PathBuf>::new());

    open(&plant.path("plant.people.json"), 0o600);
    let backup = plant.back_up();
    let other = Plant::new();
    open(&backup.with_extension("people.json"), 0o644);
    let refused = other.restore(&backup, &[]);
    assert!(said(&refused).contains("nothing was brought back"), "{}", said(&refused));
    assert!(!other.path("plant.db").exists());

    // A folder stands where the people belong: found out only once the ledger is back.
    open(&backup.with_extension("people.json"), 0o600);
    fs::create_dir(other.path("plant.people.json")).unwrap();
    let half = other.restore(&backup, &[]);
    assert!(!half.status.success());
    let told = said(&half);
    assert!(
        told.contains("the ledger was brought back, the people who sign in were not"),
        "{told}"
    );
    drop(SqliteLedger::open(&other.path("plant.db")).unwrap());
}

/// What a restore is most needed for: the ledger that is there cannot be opened any more, with a
/// log of its own or without. Neither gets into the one that is brought back.
#[tokio::test]
async fn a_damaged_ledger_is_put_aside() {
    let plant = Plant::new();
    let mut gateway = plant.run().await;
    let backup = plant.back_up();
    let ledger = plant.path("plant.db");
    let rubbish = vec![0x5a; fs::metadata(&ledger).unwrap().len() as usize];
    for killed in [true, false] {
        if killed {
            gateway.kill();
            assert!(plant.path("plant.db-wal").exists());
        } else {
            gateway.stop();
        }
        fs::write(&ledger, &rubbish).unwrap();
        let done = plant.restore(&backup, &["--replace"]);
        assert!(done.status.success(), "{}", said(&done));
        assert!(said(&done).contains("is kept as it lies there"), "{}", said(&done));
        gateway = plant.run().await;
    }
    let kept = names(plant.folder.path());
    assert!(kept.iter().any(|path| fs::read(path).is_ok_and(|bytes| bytes == rubbish)), "{kept:?}");
    gateway.stop();
    ledger_read::events(&ledger).await;
}

/// The way back after an upgrade: a program that does not know the ledger's schema puts it aside
/// as it is, and a backup keeps the schema of its ledger.
#[tokio::test]
async fn schemas_stay_as_they_are() {
    let plant = Plant::new();
    let mut gateway = plant.run().await;
    gateway.stop();
    let schema = |path: &Path| -> i64 {
        let file = rusqlite::Connection::open(path).unwrap();
        file.query_row("PRAGMA user_version", [], |row| row.get(0)).unwrap()
    };
    let set = |path: &Path, text: &str| {
        rusqlite::Connection::open(path).unwrap().execute_batch(text).unwrap();
    };
    let ledger = plant.path("plant.db");
    set(&ledger, "DROP TABLE archived; DROP TABLE part; DROP TABLE owed; PRAGMA user_version = 1");
    let backup = plant.back_up();
    assert_eq!((schema(&ledger), schema(&backup)), (1, 1));

    set(&ledger, "PRAGMA user_version = 99");
    let refused = plant.command("backup").arg(plant.path("newer")).output().unwrap();
    assert!(said(&refused).contains("use the newer gateway"), "{}", said(&refused));
    let done = plant.restore(&backup, &["--replace"]);
    assert!(done.status.success(), "{}", said(&done));
    let aside = super::backups(plant.folder.path()).into_iter().find(|path| *path != ledger);
    assert_eq!((schema(&ledger), schema(&aside.unwrap())), (1, 99));
    let mut gateway = plant.run().await;
    gateway.stop();
    ledger_read::events(&ledger).await;
}

fn admit(plant: &Plant, name: &str) {
    let mut command = plant.command("people");
    command.args(["admit", name, "--role", "manager", "--by", "test", "--why", "to see"]);
    let output = command.output().unwrap();
    assert!(output.status.success(), "{}", said(&output));
}
