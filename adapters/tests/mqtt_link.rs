//! The MQTT link and its simulated machine against real brokers and scripted peers.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic)]

#[path = "patience/blocking.rs"]
mod blocking;
mod notes;
mod patience;

#[path = "mqtt_link/brokers.rs"]
mod brokers;
#[path = "modbus/certificates.rs"]
#[expect(dead_code, reason = "roles are for Modbus only")]
mod certificates;
#[path = "mqtt_link/client.rs"]
mod client;
#[path = "mqtt_link/gateway.rs"]
mod gateway;
#[path = "mqtt_link/tap.rs"]
mod tap;

#[path = "mqtt_link/acks.rs"]
mod acks;
#[path = "mqtt_link/answers.rs"]
mod answers;
#[path = "mqtt_link/check.rs"]
mod check;
#[path = "mqtt_link/commands.rs"]
mod commands;
#[path = "mqtt_link/failing.rs"]
mod failing;
#[path = "mqtt_link/grants.rs"]
mod grants;
#[path = "mqtt_link/levels.rs"]
mod levels;
#[path = "mqtt_link/losses.rs"]
mod losses;
#[path = "mqtt_link/machine.rs"]
mod machine;
#[path = "mqtt_link/outputs.rs"]
mod outputs;
#[path = "mqtt_link/rubbish.rs"]
mod rubbish;
#[path = "mqtt_link/scripted.rs"]
mod scripted;
#[path = "mqtt_link/secured.rs"]
mod secured;
#[path = "mqtt_link/settings.rs"]
mod settings;
#[path = "mqtt_link/shared.rs"]
mod shared;
