//! Lists that come in and go out, as CSV (RFC 4180) or JSON lines.
//!
//! A list is read whole: every row's faults are told at once, each with its line and what to do.

mod cells;
pub mod events;
mod fault;
mod form;
pub mod orders;
mod quotes;
mod rows;
pub mod stencils;

pub use fault::RowFault;
pub use form::Form;

/// Most rows taken in one list.
pub const MOST_ROWS: usize = 100_000;
