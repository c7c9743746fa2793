//! The domain knows nobody: no dependency that could wait, and no door to the world.

use std::fs;
use std::path::{Path, PathBuf};

/// All that the domain may depend on.
const ALLOWED: [&str; 2] = ["serde", "thiserror"];

/// What would let it read a clock, a file, a socket or its surroundings.
const DOORS: [&str; 10] = [
    "std::fs",
    "std::net",
    "std::io",
    "std::env",
    "std::process",
    "std::thread",
    "SystemTime",
    "Instant::",
    "async fn",
    "HashMap",
];

fn root() -> &'static Path {
    Path::new(env!("CARGO_MANIFEST_DIR"))
}

fn sources(folder: &Path, found: &mut Vec<PathBuf>) {
    for entry in fs::read_dir(folder).expect("a folder").flatten() {
        let path = entry.path();
        if path.is_dir() {
            sources(&path, found);
        } else if path.extension().is_some_and(|extension| extension == "rs") {
            found.push(path);
        }
    }
}

#[test]
fn it_depends_on_nothing_that_could_wait() {
    let manifest = fs::read_to_string(root().join("Cargo.toml")).expect("a manifest");
    let (_, rest) = manifest.split_once("[dependencies]").expect("a table of dependencies");
    let table = rest.split("\n[").next().unwrap_or_default();
    let names: Vec<&str> = table
        .lines()
        .filter_map(|line| line.split(['.', ' ', '=']).next())
        .filter(|name| !name.is_empty() && !name.starts_with('#'))
        .collect();
    assert_eq!(names, ALLOWED);
    assert!(!manifest.contains("target."), "no dependency for some platforms only");
    assert!(!manifest.contains("[build-dependencies]"));
}

/// Hash maps have no order, and a replay must give the same events in the same order.
#[test]
fn it_opens_no_door_to_the_world() {
    let mut files = Vec::new();
    sources(&root().join("src"), &mut files);
    assert!(files.len() > 20, "found the sources");
    for file in files {
        let text = fs::read_to_string(&file).expect("a source file");
        for door in DOORS {
            assert!(!text.contains(door), "{door} in {}", file.display());
        }
    }
}
