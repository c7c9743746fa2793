//! When old events move: what is refused, and where paths start.
#![allow(clippy::unwrap_used)]

use std::path::Path;

use stencilward_config::configuration::ArchiveSettings;

fn faults(archive: &str) -> Vec<String> {
    let text = format!("site: Invented Works\narchive: {archive}\n");
    let faults = stencilward_config::parse("plant.yaml", &text).unwrap_err();
    faults.into_iter().map(|fault| format!("{}: {}", fault.path, fault.wrong)).collect()
}

#[test]
fn what_would_do_harm_is_refused() {
    let found = faults("{ older-than: 3h, at-least: 0 }");
    assert_eq!(found.len(), 2, "{found:?}");
    assert!(found[0].starts_with("archive.older-than: less than a day"), "{found:?}");
    assert!(found[1].starts_with("archive.at-least: none would make a file"), "{found:?}");
    let found = faults("{ to: old }");
    assert!(found[0].contains("older-than"), "{found:?}");
}

#[test]
fn its_folder_starts_at_the_file() {
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("plant.yaml");
    let text = |to: &str| format!("site: Invented Works\narchive: {{ older-than: 400days{to} }}\n");
    let load = |to: &str| -> ArchiveSettings {
        std::fs::write(&file, text(to)).unwrap();
        stencilward_config::load(&file).unwrap().archive.unwrap()
    };
    assert_eq!(load("").to, None);
    assert_eq!(load("").at_least, 100_000);
    assert_eq!(load(", to: old").to.unwrap(), folder.path().join("old"));
    assert_eq!(load(", to: /srv/old").to.unwrap(), Path::new("/srv/old"));
}
