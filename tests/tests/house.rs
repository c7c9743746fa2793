//! Keeps the house: who may know whom, how pure the domain is, what every crate and file owes.
//!
//! Each rule is a function from texts to faults, and is first shown a made-up text that breaks it.

use std::collections::BTreeSet;
use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;

use serde_json::Value;
use stencilward_tests::root;

/// All that the domain may be built from: two libraries and what their macros are made of.
const DOMAIN_MAY_USE: [&str; 10] = [
    "proc-macro2",
    "quote",
    "serde",
    "serde_core",
    "serde_derive",
    "stencilward-domain",
    "syn",
    "thiserror",
    "thiserror-impl",
    "unicode-ident",
];

/// Names that mean a clock, a file, a socket, a thread, the environment or a runtime.
const NOT_PURE: [&str; 11] = [
    "Instant",
    "SystemTime",
    "async",
    "await",
    "env",
    "fs",
    "net",
    "process",
    "rand",
    "thread",
    "tokio",
];

/// Which of our crates each may depend on, in any way; `tests` may know all.
const MAY_KNOW: [(&str, &[&str]); 8] = [
    ("adapters", &["domain", "exchange"]),
    ("config", &["adapters", "domain"]),
    ("domain", &[]),
    ("exchange", &["domain"]),
    ("ledger", &["domain"]),
    ("reports", &["domain"]),
    ("service", &["adapters", "config", "domain", "exchange", "ledger", "reports", "web"]),
    ("web", &["domain", "exchange"]),
];

/// What may lie at the top of the source tree.
const TOP_LEVEL: [&str; 19] = [
    ".ci",
    ".dockerignore",
    ".git",
    ".gitignore",
    "CHANGELOG.md",
    "Cargo.lock",
    "Cargo.toml",
    "DEVELOPERS.md",
    "LICENSE",
    "README.md",
    "adapters",
    "clippy.toml",
    "config",
    "deny.toml",
    "deploy",
    "gateway",
    "rustfmt.toml",
    "target",
    "tests",
];

const LINES_AT_MOST: usize = 500;

#[test]
fn the_domain_is_built_from_very_little() {
    let arguments = "tree --edges normal --package stencilward-domain --prefix none --offline";
    let tree = cargo(arguments);
    none(foreign(&tree));
}

#[test]
fn a_foreign_crate_in_the_domain_is_found() {
    let tree = "stencilward-domain v0.1.0 (here)\nserde v1.0.0\ntokio v1.0.0\n";
    assert_eq!(foreign(tree), ["the domain is built from tokio"]);
}

fn foreign(tree: &str) -> Vec<String> {
    tree.lines()
        .filter_map(|line| line.split_whitespace().next())
        .filter(|name| !DOMAIN_MAY_USE.contains(name))
        .map(|name| format!("the domain is built from {name}"))
        .collect()
}

#[test]
fn the_domain_is_pure() {
    let files = files(&root().join("gateway/domain/src"));
    assert!(!files.is_empty(), "no sources of the domain");
    none(files.iter().flat_map(|file| impure(&shown(file), &text(file))));
}

#[test]
fn an_impure_line_is_found_and_talk_about_one_is_not() {
    let sample = "//! No tokio here.\nlet why = \"no async\"; // nor fs\nuse std::{fmt, fs};\n";
    assert_eq!(impure("a.rs", sample), ["a.rs:3 mentions fs"]);
}

fn impure(file: &str, source: &str) -> Vec<String> {
    let mut faults = Vec::new();
    for (at, line) in source.lines().enumerate() {
        let code: String = line.split('"').step_by(2).collect::<Vec<_>>().join("\"");
        let code = code.split("//").next().unwrap_or_default();
        let words = code.split(|c: char| !c.is_alphanumeric() && c != '_');
        let forbidden = words.filter(|word| NOT_PURE.contains(word));
        faults.extend(forbidden.map(|word| format!("{file}:{} mentions {word}", at + 1)));
    }
    faults
}

#[test]
fn every_crate_knows_only_whom_it_may() {
    none(strangers(&metadata()));
}

#[test]
fn a_crate_that_knows_too_much_is_found() {
    let sample = serde_json::json!({"packages": [
        {"name": "stencilward-web", "dependencies": [{"name": "serde"}, {"name": "stencilward-ledger"}]},
        {"name": "stencilward-tests", "dependencies": [{"name": "stencilward-service"}]},
        {"name": "stencilward-new", "dependencies": []},
    ]});
    let faults = ["web knows ledger", "new has no rule about whom it may know"];
    assert_eq!(strangers(&sample), faults);
}

fn strangers(metadata: &Value) -> Vec<String> {
    let mut faults = Vec::new();
    for package in list(&metadata["packages"]) {
        let name = short(&package["name"]).unwrap_or_default();
        if name == "tests" {
            continue;
        }
        let Some((_, allowed)) = MAY_KNOW.iter().find(|(of, _)| *of == name) else {
            faults.push(format!("{name} has no rule about whom it may know"));
            continue;
        };
        list(&package["dependencies"])
            .iter()
            .filter_map(|dependency| short(&dependency["name"]))
            .filter(|known| !allowed.contains(known))
            .for_each(|known| faults.push(format!("{name} knows {known}")));
    }
    faults
}

/// One of our crates without its prefix.
fn short(name: &Value) -> Option<&str> {
    name.as_str()?.strip_prefix("stencilward-")
}

#[test]
fn every_crate_takes_lints_and_versions_from_the_workspace() {
    let manifests: Vec<PathBuf> = list(&metadata()["packages"])
        .iter()
        .filter_map(|package| package["manifest_path"].as_str().map(PathBuf::from))
        .collect();
    assert!(manifests.len() >= MAY_KNOW.len(), "{manifests:?}");
    none(manifests.iter().flat_map(|file| unshared(&shown(file), &text(file))));
}

#[test]
fn a_crate_with_versions_of_its_own_is_found() {
    let sample = "[dependencies]\nserde.workspace = true\ntokio = \"1\"\n\
                  [dev-dependencies]\nbytes = { workspace = true, features = [\n  \"std\",\n] }\n\
                  [build-dependencies.cc]\nversion = \"1\"\n";
    let faults = [
        "Cargo.toml does not inherit the lints",
        "Cargo.toml: not from the workspace table: tokio = \"1\"",
        "Cargo.toml: not from the workspace table: [build-dependencies.cc]",
    ];
    assert_eq!(unshared("Cargo.toml", sample), faults);
}

fn unshared(file: &str, manifest: &str) -> Vec<String> {
    let mut faults = Vec::new();
    if !manifest.contains("[lints]\nworkspace = true") {
        faults.push(format!("{file} does not inherit the lints"));
    }
    let mut in_dependencies = false;
    for line in manifest.lines() {
        let own_version = if line.starts_with('[') {
            in_dependencies = line.ends_with("dependencies]");
            line.contains("dependencies.")
        } else {
            let is_entry = line.starts_with(|c: char| c.is_alphanumeric());
            in_dependencies && is_entry && !line.contains("workspace = true")
        };
        if own_version {
            faults.push(format!("{file}: not from the workspace table: {line}"));
        }
    }
    faults
}

#[test]
fn every_source_says_what_it_is_for_and_stays_short() {
    let sources: Vec<PathBuf> = files(&root())
        .into_iter()
        .filter(|file| file.extension().is_some_and(|ext| ext == "rs"))
        .collect();
    assert!(sources.len() > 10, "where are the sources? {sources:?}");
    none(sources.iter().flat_map(|file| unkempt(&shown(file), &text(file))));
}

#[test]
fn a_long_source_without_a_word_is_found() {
    let sample = "use std::fmt;\n".repeat(LINES_AT_MOST + 1);
    let faults = ["a.rs does not begin with //!", "a.rs has 501 lines"];
    assert_eq!(unkempt("a.rs", &sample), faults);
}

fn unkempt(file: &str, source: &str) -> Vec<String> {
    let mut faults = Vec::new();
    if !source.starts_with("//! ") {
        faults.push(format!("{file} does not begin with //!"));
    }
    let lines = source.lines().count();
    if lines > LINES_AT_MOST {
        faults.push(format!("{file} has {lines} lines"));
    }
    faults
}

#[test]
fn nothing_lies_about_at_the_top() {
    let present: BTreeSet<String> = entries(&root()).iter().map(|path| shown(path)).collect();
    let allowed = TOP_LEVEL.iter().map(ToString::to_string);
    let astray: Vec<_> = present.difference(&allowed.collect()).cloned().collect();
    none(astray);
}

#[test]
fn no_file_names_a_machine_or_a_registry() {
    none(files(&root()).iter().flat_map(|file| local(&shown(file), &text(file))));
}

#[test]
fn a_local_path_and_a_registry_are_found() {
    let sample = format!("cd {}main\npip install --index {}\n", local_names()[0], local_names()[3]);
    assert_eq!(local("run.sh", &sample).len(), 2);
}

fn local(file: &str, text: &str) -> Vec<String> {
    local_names()
        .iter()
        .filter(|name| text.contains(*name))
        .map(|name| format!("{file} names {name}"))
        .collect()
}

/// Put together here, so that this file does not name them either.
fn local_names() -> Vec<String> {
    [
        ["/wo", "rk/"],
        ["/ro", "ot/"],
        ["/ho", "me/"],
        ["py", "pi.org"],
        ["python", "hosted.org"],
        ["index.cr", "ates.io"],
        ["static.cr", "ates.io"],
        ["registry.n", "pmjs.org"],
        ["proxy.go", "lang.org"],
        ["registry-1.dock", "er.io"],
        ["artif", "actory"],
    ]
    .map(|halves| halves.concat())
    .to_vec()
}

fn none(faults: impl IntoIterator<Item = String>) {
    let faults: Vec<String> = faults.into_iter().collect();
    assert!(faults.is_empty(), "\n{}", faults.join("\n"));
}

fn metadata() -> Value {
    let said = cargo("metadata --format-version 1 --no-deps --offline");
    serde_json::from_str(&said).expect("cargo metadata speaks JSON")
}

fn cargo(arguments: &str) -> String {
    let output = Command::new(env!("CARGO"))
        .args(arguments.split_whitespace())
        .current_dir(root())
        .output()
        .expect("cargo runs");
    let complaint = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "cargo {arguments}: {complaint}");
    String::from_utf8(output.stdout).expect("cargo speaks UTF-8")
}

fn list(value: &Value) -> &[Value] {
    value.as_array().map_or(&[], Vec::as_slice)
}

/// Every file below a folder, apart from what git and builds keep there: in a worktree of git's,
/// `.git` is a file.
fn files(folder: &Path) -> Vec<PathBuf> {
    let mut found = Vec::new();
    for entry in entries(folder) {
        if [".git", "target", "__pycache__"].iter().any(|name| entry.ends_with(name)) {
            continue;
        }
        if entry.is_file() {
            found.push(entry);
        } else {
            found.extend(files(&entry));
        }
    }
    found
}

fn entries(folder: &Path) -> Vec<PathBuf> {
    let entries = fs::read_dir(folder).expect("the folder can be read");
    let paths = entries.map(|entry| entry.expect("the folder can be read").path());
    let mut paths: Vec<PathBuf> = paths.collect();
    paths.sort();
    paths
}

fn shown(file: &Path) -> String {
    let inside = file.strip_prefix(root()).unwrap_or(file);
    inside.display().to_string()
}

/// Empty when the file is not text.
fn text(file: &Path) -> String {
    let bytes = fs::read(file).expect("the file can be read");
    String::from_utf8(bytes).unwrap_or_default()
}
