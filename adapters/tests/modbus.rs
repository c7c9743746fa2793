//! The Modbus link and its simulated machine over real sockets.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic)]

#[path = "modbus/support.rs"]
mod support;

#[path = "modbus/faults.rs"]
mod faults;
#[path = "modbus/machine.rs"]
mod machine;
#[path = "modbus/outputs.rs"]
mod outputs;
#[path = "modbus/published.rs"]
mod published;
