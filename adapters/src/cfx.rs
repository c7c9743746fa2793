//! IPC-CFX (IPC-2591) over AMQP 1.0, through a broker or without one.
//!
//! `envelope` takes messages apart, `hearing` knows whose they are and who is there, `decode` makes
//! signals of them; these are pure. `broker` and `listener` are two ways for the same messages:
//! `taker` hears one link of either. `ask` answers questions; `desk` is what all of them share.
//! `requester` asks at a machine's own listener, and `lock` is what is asked there. `announce` words
//! what the gateway itself says, and `telling` says it. `machine` is the other side. `guard` stands
//! between the network and the AMQP library.

mod access;
mod announce;
mod ask;
mod broker;
mod check;
mod decode;
mod decoder;
mod desk;
mod encode;
mod envelope;
mod guard;
mod hearing;
mod json;
mod kinds;
mod link;
mod listener;
mod lock;
mod machine;
mod message;
mod replies;
mod requester;
mod settings;
mod taker;
mod telling;
mod tool;

pub use announce::Counters;
pub use decoder::{Decoded, Decoder};
pub use link::Link;
pub use machine::Machine;
pub use settings::{
    AtBroker, By, Endpoint, Listen, Output, OwnTls, Publish, Requests, Settings, Signal, Stage,
    StencilCodeFrom, StrokesFrom, ToolCheck,
};

/// The version of the standard in what the gateway sends: that of the newest message among them.
const VERSION: &str = "2.0";

/// A new identity of a message: a random UUID (RFC 9562, 5.4).
fn unique_id() -> String {
    let mut bytes = [0; 16];
    // Without a source of randomness TLS could not work either; then all are alike.
    let _ = crate::tls::provider().secure_random.fill(&mut bytes);
    uuid(bytes, 4)
}

/// A UUID of these bytes and this version.
fn uuid(mut bytes: [u8; 16], version: u8) -> String {
    bytes[6] = (bytes[6] & 0x0f) | (version << 4);
    bytes[8] = (bytes[8] & 0x3f) | 0x80;
    let hex: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    format!("{}-{}-{}-{}-{}", &hex[..8], &hex[8..12], &hex[12..16], &hex[16..20], &hex[20..])
}
