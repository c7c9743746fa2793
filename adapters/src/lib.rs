//! Adapters: one folder per machine protocol, all alike inside.
//!
//! `settings` is the adapter's part of the configuration, `decode` turns bytes or messages into
//! signals and is pure, `link` keeps the connection, `machine` is the other side: a simulated
//! machine that speaks the real protocol, and `record` what is recorded of it. An adapter never
//! sees the ledger; it hands over signals and learns when what follows from them is durable.

pub mod cfx;
mod command;
pub mod files;
pub mod link;
pub mod modbus;
pub mod mqtt;
pub mod record;
mod secret;
pub mod settings;
pub mod shown;
pub mod simulated;
pub mod sparkplug;
pub mod tls;
