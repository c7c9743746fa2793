//! Backups have the archive, copy each part once, and bring it back.

use std::fs;
use std::os::unix::fs::MetadataExt as _;

use stencilward_tests::ledger_read;

use crate::plant::{Plant, STROKES, damage, parts_in, said};

#[tokio::test]
async fn a_backup_has_the_archive_and_brings_it_back() {
    let other_disk = tempfile::tempdir().unwrap();
    let plant = Plant::with_past("").await;
    plant.done("archive", &["--older-than", "30days"]);
    let to = other_disk.path().to_str().unwrap();
    plant.done("archive", &["--older-than", "20days", "--to", to]);
    let kept = plant.path("kept");
    let folder = kept.display().to_string();
    plant.done("backup", &[&folder]);
    let parts = parts_in(&kept.join("plant.archive"));
    assert_eq!(parts.len(), 2, "those beside the ledger and those elsewhere");
    let inodes = |parts: &[std::path::PathBuf]| {
        parts.iter().map(|part| fs::metadata(part).unwrap().ino()).collect::<Vec<_>>()
    };
    let first = inodes(&parts);

    plant.done("archive", &["--older-than", "10days"]);
    std::thread::sleep(std::time::Duration::from_millis(1_100));
    plant.done("backup", &[&folder]);
    let later = parts_in(&kept.join("plant.archive"));
    assert_eq!(later.len(), 3);
    assert_eq!(inodes(&later)[..2], first, "what is there is not copied again");

    let whole = ledger_read::recorded(&plant.path("plant.db")).await;
    let backups = fs::read_dir(&kept).unwrap().map(|entry| entry.unwrap().path());
    let mut backups: Vec<_> = backups.filter(|path| path.is_file()).collect();
    backups.sort();
    assert_eq!(backups.len(), 2);
    for (backup, parts) in backups.iter().zip([2, 3]) {
        let other = Plant::new("");
        let output = other.command("restore").arg(backup).output().unwrap();
        assert!(output.status.success(), "{}", said(&output));
        assert_eq!(other.parts().len(), parts);
        assert_eq!(ledger_read::recorded(&other.path("plant.db")).await, whole);
        let mut gateway = other.run().await;
        assert_eq!(other.strokes().await, STROKES);
        gateway.stop();
        fs::remove_file(&other.parts()[0]).unwrap();
        let again = other.command("restore").arg(backup).arg("--replace").output().unwrap();
        assert!(again.status.success(), "the part comes back: {}", said(&again));
    }

    damage(&later[1]);
    let other = Plant::new("");
    let refused = other.command("restore").arg(&backups[1]).output().unwrap();
    assert!(!refused.status.success());
    assert!(said(&refused).contains("is damaged at events"), "{}", said(&refused));
    assert!(!other.path("plant.db").exists());
    std::thread::sleep(std::time::Duration::from_millis(1_100));
    plant.done("backup", &[&folder]);
    let mended = other.command("restore").arg(&backups[1]).output().unwrap();
    assert!(mended.status.success(), "the next backup copied it anew: {}", said(&mended));
}
