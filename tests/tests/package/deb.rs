//! The package, built by the same script as for a plant, of the program that the tests run.

use std::fs;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::sync::OnceLock;

use stencilward_tests::{missing, root};

/// What a newer package adds to the configuration it brings.
pub(crate) const NEWER: &str = "# A newer package says more here.\n";

/// The package as it is, and one of a later version that also brings another configuration.
pub(crate) struct Debs {
    pub(crate) now: PathBuf,
    pub(crate) later: PathBuf,
}

/// Builds both, once; none, said aloud, where what it takes is not here.
pub(crate) fn debs() -> Option<&'static Debs> {
    static BUILT: OnceLock<Debs> = OnceLock::new();
    let tools = [
        ("cargo-deb", "cargo install cargo-deb --locked"),
        ("dpkg-shlibdeps", "Debian package dpkg-dev"),
        ("strip", "Debian package binutils"),
        ("python3", "Debian package python3"),
    ];
    for (tool, package) in tools {
        missing::program(tool, package)?;
    }
    Some(BUILT.get_or_init(build))
}

fn build() -> Debs {
    let folder = Path::new(env!("CARGO_TARGET_TMPDIR")).join("package");
    fs::remove_dir_all(&folder).ok();
    fs::create_dir_all(folder.join("target/release")).unwrap();
    let program = env!("CARGO_BIN_EXE_stencilward-under-test");
    fs::copy(program, folder.join("target/release/stencilward")).unwrap();
    let now = folder.join("now.deb");
    run(Command::new(root().join("deploy/debian/build"))
        .args(["--no-build", "--fast", "--quiet", "--output"])
        .arg(&now)
        .env("CARGO_TARGET_DIR", folder.join("target")));

    let (tree, later) = (folder.join("later"), folder.join("later.deb"));
    run(Command::new("dpkg-deb").arg("-R").args([&now, &tree]));
    let control = tree.join("DEBIAN/control");
    let text = fs::read_to_string(&control).unwrap();
    let version = format!("Version: {}", env!("CARGO_PKG_VERSION"));
    assert!(text.contains(&version), "{text}");
    fs::write(control, text.replace(&version, "Version: 99.0.0")).unwrap();
    let configuration = tree.join("etc/stencilward/plant.yaml");
    let text = fs::read_to_string(&configuration).unwrap();
    fs::write(configuration, text + NEWER).unwrap();
    run(Command::new("dpkg-deb")
        .args(["--root-owner-group", "-Znone", "-b"])
        .args([&tree, &later]));
    Debs { now, later }
}

fn run(command: &mut Command) {
    let output = command.output().unwrap_or_else(|error| panic!("{command:?}: {error}"));
    let told = [output.stdout, output.stderr].concat();
    assert!(output.status.success(), "{command:?}: {}", String::from_utf8_lossy(&told));
}

/// Debian's own opinion of the package. What it only warns of is decided otherwise: the
/// configuration is not for everybody to read, and the package closes no bug of Debian's.
#[test]
fn lintian_finds_no_error() {
    let Some(debs) = debs() else { return };
    let Some(lintian) = missing::program("lintian", "Debian package lintian") else { return };
    run(Command::new(lintian).args(["--allow-root", "--fail-on", "error"]).arg(&debs.now));
}

/// The manual page names every command of the program, and no other.
#[test]
fn the_manual_page_has_every_command() {
    let program = env!("CARGO_BIN_EXE_stencilward-under-test");
    let help = Command::new(program).arg("--help").output().unwrap();
    let help = String::from_utf8(help.stdout).unwrap();
    let (_, commands) = help.split_once("Commands:\n").unwrap();
    let commands = commands.lines().take_while(|line| !line.is_empty());
    let mut commands: Vec<&str> = commands
        .filter(|line| line.starts_with("  ") && !line.starts_with("   "))
        .filter_map(|line| line.split_whitespace().next())
        .filter(|command| *command != "help")
        .collect();
    let page = fs::read_to_string(root().join("deploy/debian/stencilward.1")).unwrap();
    let (_, listed) = page.split_once(".SH COMMANDS\n").unwrap();
    let (listed, _) = listed.split_once(".SH").unwrap();
    let mut listed: Vec<&str> =
        listed.lines().filter_map(|line| line.strip_prefix(".B ")).collect();
    commands.sort_unstable();
    listed.sort_unstable();
    assert!(commands.len() > 10, "{help}");
    assert_eq!(listed, commands);
}
