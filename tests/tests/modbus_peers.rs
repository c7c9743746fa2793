//! Modbus peers that are not ours: every type in every order read from a pymodbus server, libmodbus
//! as server, and pymodbus and mbpoll as clients of our simulated machine, mbpoll on a serial line
//! too.
//!
//! Sources: pymodbus 3.16 (PyPI); libmodbus 3.1 and mbpoll 1.0 (Debian packages libmodbus5 and
//! mbpoll), independent implementations of MODBUS Application Protocol V1.1b3.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic)]

#[path = "modbus_peers/clients.rs"]
mod clients;
#[path = "modbus_peers/hearing.rs"]
mod hearing;
#[path = "modbus_peers/serial.rs"]
mod serial;
#[path = "modbus_peers/servers.rs"]
mod servers;
