//! What machines say is recorded over real links, and gives the same signals when it is decoded
//! again.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic)]

mod patience;

#[path = "recording/files.rs"]
mod files;
#[path = "recording/recorded.rs"]
mod recorded;
#[path = "recording/story.rs"]
mod story;
