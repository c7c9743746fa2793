//! MQTT 3.1.1 and 5.0 through a broker.
//!
//! Two connections, so that neither waits for the other: `consume` takes in, with a persistent
//! session and acknowledgement after durability; `outbox` publishes. Both are a `session`, which
//! is opened by `access`: all connections of a broker share version, secrets and certificates.

mod access;
mod acknowledge;
mod check;
mod consume;
mod decode;
mod encode;
mod json;
mod link;
mod listen;
mod lost;
mod machine;
mod notices;
mod order;
mod outbox;
mod outputs;
mod own_links;
mod packets;
mod payload;
#[cfg(test)]
mod random;
mod record;
mod router;
mod session;
mod settings;
mod topic;

/// A connection that has held for so long is in order: the next loss is tried again at once.
pub(crate) const STEADY: std::time::Duration = std::time::Duration::from_secs(10);

pub(crate) use access::{Access, Memory};
pub(crate) use check::host_and_port;
pub use check::{commanded_alike, told_twice};
pub use link::Link;
pub(crate) use lost::{Lost, unreachable};
pub use machine::Machine;
pub(crate) use packets::{Arrived, Grant, Post, Token};
pub use record::Received;
pub(crate) use record::again;
pub use router::{Reading, Router};
pub(crate) use session::{Incident, Order, Session};
pub use settings::{
    Answer, Broker, Measures, Message, Output, Publish, Settings, Shows, Signal, Tls, Version,
};
