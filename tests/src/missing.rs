//! What becomes of a test whose peer cannot be had here.
//!
//! It is skipped, but never in silence: one line says which test lacks what, where to get it, and
//! how many were skipped so far. With `CI=true` it fails instead, since a build machine must have
//! everything.

use std::io::Write;
use std::path::PathBuf;
use std::sync::atomic::{AtomicUsize, Ordering};

/// Tests of this program skipped so far.
static SKIPPED: AtomicUsize = AtomicUsize::new(0);

/// The program on the search path; none, said aloud, when it is not installed.
///
/// `package` says where to get it, such as `Debian package mosquitto`.
///
/// # Panics
/// When it is not installed and `CI=true`.
#[must_use]
pub fn program(name: &str, package: &str) -> Option<PathBuf> {
    let found = on_path(name);
    if found.is_none() {
        skip(&format!("{name} is not installed ({package})"));
    }
    found
}

/// Says aloud that the running test is skipped, and why.
///
/// # Panics
/// When `CI=true`.
pub fn skip(why: &str) {
    assert!(!in_ci(), "{}; with CI=true that is a failure", line(why));
    skip_anywhere(why);
}

/// The same for what a build machine need not have either.
pub fn skip_anywhere(why: &str) {
    let line = line(why);
    let count = SKIPPED.fetch_add(1, Ordering::Relaxed) + 1;
    // Written past the test harness, which hides what passing tests print.
    writeln!(std::io::stderr(), "{line}; {count} skipped so far").ok();
}

fn line(why: &str) -> String {
    let thread = std::thread::current();
    format!("SKIPPED {}: {why}", thread.name().unwrap_or("a test"))
}

/// True on a build machine.
#[must_use]
pub fn in_ci() -> bool {
    std::env::var("CI").is_ok_and(|value| value == "true")
}

/// Where a program is on the search path, or in the folders of system services.
#[must_use]
pub fn on_path(name: &str) -> Option<PathBuf> {
    let path = std::env::var_os("PATH").unwrap_or_default();
    std::env::split_paths(&path)
        .chain(["/usr/sbin", "/usr/local/sbin"].map(PathBuf::from))
        .map(|folder| folder.join(name))
        .find(|file| file.is_file())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn finds_what_every_machine_has() {
        assert!(on_path("sh").is_some_and(|file| file.ends_with("sh")));
    }

    #[test]
    fn finds_nothing_of_an_invented_name() {
        assert_eq!(on_path("no-such-program-anywhere"), None);
    }
}
