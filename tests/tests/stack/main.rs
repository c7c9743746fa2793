//! The gateway as a container: its image, the whole stack of `deploy/container/compose.yaml`, and
//! what becomes of strokes when the container is killed, paused, frozen, cut off or short of disk.
//!
//! `tests/images/stack.sh` builds the images. Where they are missing, the tests that need them are
//! skipped aloud.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper that cannot go on fails the test")]

mod bill;
mod compose;
mod cut_off;
mod engine;
mod image;
mod secrets;
mod whole;
mod works;

use std::process::Command;
use std::time::Duration;

pub(crate) const LIMIT: Duration = Duration::from_secs(60);

/// What a command writes, to both outputs, and whether it succeeds.
pub(crate) fn outcome(command: &mut Command) -> (bool, String) {
    let output = command.output().unwrap_or_else(|why| panic!("{command:?}: {why}"));
    let said = String::from_utf8_lossy(&output.stdout) + String::from_utf8_lossy(&output.stderr);
    (output.status.success(), said.into_owned())
}

/// What a command writes to its output; it must succeed.
pub(crate) fn succeeds(command: &mut Command) -> String {
    let output = command.output().unwrap_or_else(|why| panic!("{command:?}: {why}"));
    let said = String::from_utf8_lossy(&output.stderr);
    assert!(output.status.success(), "{command:?}: {said}");
    String::from_utf8_lossy(&output.stdout).into_owned()
}
