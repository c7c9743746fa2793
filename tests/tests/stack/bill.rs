//! The bill of materials: read and judged by CycloneDX's own library, and compared with what cargo
//! says is linked.

use std::collections::BTreeSet;
use std::path::Path;
use std::process::Command;

use serde_json::Value;
use stencilward_tests::{python, root};
use testcontainers::runners::AsyncRunner as _;
use testcontainers::{GenericImage, ImageExt as _};

use crate::{image, succeeds};

/// Crates of tests and builds: they are in Cargo.lock, and never in the program.
const NOT_LINKED: [&str; 5] =
    ["proptest", "stencilward-tests", "syn", "testcontainers", "windows-sys"];

fn judged(document: &Path) -> Option<Value> {
    let python = python::for_peers()?;
    let mut judge = Command::new(python);
    judge.arg(root().join("tests/peers/bill_of_materials.py")).arg(document);
    Some(serde_json::from_str(&succeeds(&mut judge)).unwrap())
}

fn linked() -> BTreeSet<String> {
    let mut tree = Command::new(env!("CARGO"));
    tree.current_dir(root()).args(["tree", "--locked", "--package", "stencilward-service"]);
    tree.args(["--edges", "normal,no-proc-macro", "--prefix", "none", "--format", "{p}"]);
    let said = succeeds(&mut tree);
    let name = |line: &str| {
        let mut words = line.split_whitespace();
        let (name, version) = (words.next()?, words.next()?.strip_prefix('v')?);
        Some(format!("{name} {version}"))
    };
    said.lines().filter_map(name).collect()
}

fn compare(judged: &Value) {
    let crates = judged["crates"].as_array().unwrap();
    let named: BTreeSet<String> =
        crates.iter().map(|line| line.as_str().unwrap().to_owned()).collect();
    assert_eq!(named, linked());
    assert!(named.len() > 150, "{}", named.len());
    for never in NOT_LINKED {
        assert!(!named.iter().any(|line| line.starts_with(&format!("{never} "))), "{never}");
    }
    assert_eq!(judged["without_licence"], serde_json::json!([]));
    assert_eq!(judged["without_checksum"], serde_json::json!([]));
    assert_eq!(judged["not_reached"], serde_json::json!([]), "each is needed by somebody");
    let others = judged["others"].as_array().unwrap();
    for name in ["rust-std", "sqlite"] {
        assert!(others.iter().any(|other| other == name), "{others:?}");
    }
}

#[test]
fn it_lists_what_is_linked() {
    let folder = tempfile::tempdir().unwrap();
    let Some(python) = python::for_peers() else { return };
    let mut make = Command::new(python);
    make.current_dir(root()).arg(root().join("deploy/container/sbom.py"));
    make.args(["--package", "stencilward-service"]);
    let (document, again) = (succeeds(&mut make), succeeds(&mut make));
    assert!(document == again, "the same input gives the same document");
    let file = folder.path().join("sbom.cdx.json");
    std::fs::write(&file, document).unwrap();
    if let Some(judged) = judged(&file) {
        compare(&judged);
    }
}

#[tokio::test]
async fn the_image_has_its_own() {
    if !image::present().await {
        return;
    }
    let container = GenericImage::new(image::GATEWAY, image::TAG).with_cmd(["metrics"]);
    let container = container.start().await.unwrap();
    let folder = tempfile::tempdir().unwrap();
    let file = folder.path().join("sbom.cdx.json");
    let inside = "/usr/share/doc/stencilward/sbom.cdx.json";
    container.copy_file_from(inside, file.as_path()).await.unwrap();
    let Some(judged) = judged(&file) else { return };
    compare(&judged);
    let debian = judged["debian"].as_array().unwrap();
    assert!(debian.iter().any(|name| name == "libc6"), "the base's packages: {debian:?}");
}
