//! The Debian package in a bare Debian with systemd: installed, run as its unit says, upgraded,
//! removed, purged and installed again.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper that cannot go on fails the test")]

mod deb;
mod life;
mod machine;
mod unit;

use std::time::Duration;

const LIMIT: Duration = Duration::from_secs(60);
