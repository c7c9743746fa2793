//! The Sparkplug link and its simulated edge node at real brokers.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic)]

#[path = "patience/blocking.rs"]
mod blocking;
mod luck;
mod notes;
mod patience;

#[path = "mqtt_link/brokers.rs"]
#[expect(dead_code, reason = "shared with the MQTT link's tests, which use all of it")]
mod brokers;
#[path = "modbus/certificates.rs"]
#[expect(dead_code, reason = "most of it is for the tests of certificates themselves")]
mod certificates;
#[path = "sparkplug/gateway.rs"]
mod gateway;

#[path = "sparkplug/check.rs"]
mod check;
#[path = "sparkplug/link.rs"]
mod link;
#[path = "sparkplug/random.rs"]
mod random;
#[path = "sparkplug/secured.rs"]
mod secured;
#[path = "sparkplug/signals.rs"]
mod signals;
