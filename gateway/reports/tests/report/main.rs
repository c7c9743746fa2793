//! Reports over the histories of a small invented plant.

// Helpers of tests may fail as tests do.
#![allow(clippy::unwrap_used, clippy::panic)]

mod acts;
mod forms;
mod golden;
mod late;
mod outlook;
mod past;
mod plant;
mod recount;
mod story;
mod totals;
mod trace;
