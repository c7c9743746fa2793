//! The Modbus link and its simulated machine over real sockets.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic)]

mod patience;

#[path = "modbus/certificates.rs"]
mod certificates;
#[path = "modbus/hall.rs"]
mod hall;
#[path = "modbus/support.rs"]
mod support;

#[path = "modbus/failing.rs"]
mod failing;
#[path = "modbus/faults.rs"]
mod faults;
#[path = "modbus/lines.rs"]
mod lines;
#[path = "modbus/machine.rs"]
mod machine;
#[path = "modbus/neighbours.rs"]
mod neighbours;
#[path = "modbus/outputs.rs"]
mod outputs;
#[path = "modbus/points.rs"]
mod points;
#[path = "modbus/published.rs"]
mod published;
#[path = "modbus/secured.rs"]
mod secured;
