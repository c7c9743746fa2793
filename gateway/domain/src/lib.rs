//! What is true about stencils.
//!
//! Signals go in, events come out, decisions follow from state. Nothing here waits, reads a
//! clock, opens a file or a socket: time comes in as a value. A test in `tests/` fails when
//! this crate gains a dependency that could.

pub mod alarm;
pub mod asked;
pub mod clock;
pub mod counter;
pub mod decision;
pub mod event;
pub mod machine;
pub mod names;
pub mod outputs;
mod pairs;
pub mod past;
pub mod place;
pub mod plant;
pub mod reason;
pub mod rules;
pub mod run;
pub mod signal;
pub mod site;
pub mod state;
pub mod stencil;
pub mod time;
pub mod wear;
