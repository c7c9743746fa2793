//! CFX: what messages give, and the link at work.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic)]

mod luck;
mod notes;
mod patience;

#[path = "modbus/certificates.rs"]
#[expect(dead_code, reason = "most of it is for the tests of certificates themselves")]
mod certificates;
#[path = "cfx/fixtures.rs"]
mod fixtures;
#[path = "cfx/gateway.rs"]
mod gateway;

#[path = "cfx/asking.rs"]
mod asking;
#[path = "cfx/check.rs"]
mod check;
#[path = "cfx/link.rs"]
mod link;
#[path = "cfx/locking.rs"]
mod locking;
#[path = "cfx/messages.rs"]
mod messages;
#[path = "cfx/presence.rs"]
mod presence;
#[path = "cfx/random.rs"]
mod random;
#[path = "cfx/secured.rs"]
mod secured;
