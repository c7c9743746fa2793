//! What integration tests lean on: real peers, started and stopped, and waiting without sleeping
//! for luck.
//!
//! A helper that cannot do its work fails the test there and then, so the tests stay short.
//! A peer that is not installed is named aloud and skipped, and is a failure where `CI=true`
//! ([`missing`]).
#![allow(clippy::panic, reason = "a helper that cannot go on fails the test that called it")]

pub mod browser;
pub mod certificates;
pub mod child;
pub mod curl;
pub mod free_port;
pub mod http;
pub mod ledger_read;
pub mod missing;
pub mod mosquitto;
pub mod nats;
pub mod peer;
pub mod prometheus;
pub mod promtool;
pub mod python;
pub mod rabbitmq;
pub mod said;
pub mod seed;
pub mod service;
pub mod wait;

use std::path::{Path, PathBuf};

/// The top folder of the source tree.
#[must_use]
pub fn root() -> PathBuf {
    let here = Path::new(env!("CARGO_MANIFEST_DIR"));
    here.parent().unwrap_or(here).to_path_buf()
}
