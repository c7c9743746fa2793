//! CFX with peers that are not ours: machines of python-qpid-proton, straight to the gateway's
//! listener and through RabbitMQ.
//!
//! Sources: AMQP 1.0 (ISO/IEC 19464), python-qpid-proton 0.40 (PyPI) and RabbitMQ 3.10 (Debian) as
//! independent implementations of it. The messages are written after the standards body's SDK, file
//! by file, as `tests/peers/cfx_messages.json` says beside each.

#![allow(clippy::unwrap_used, clippy::panic, reason = "helpers of tests are tests, too")]

mod asking;
mod broker;
mod direct;
mod late;
mod locking;
mod plant;
mod telling;
