//! Orders by file drop, in real folders.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic)]

mod patience;

#[path = "files/support.rs"]
mod support;

#[path = "files/taking.rs"]
mod taking;

#[path = "files/trouble.rs"]
mod trouble;
