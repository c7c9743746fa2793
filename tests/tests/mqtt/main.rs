//! Mosquitto, a paho publisher and the running gateway: every message that reached the broker is in
//! the ledger once, or the gap is told with its size.

#![allow(clippy::unwrap_used, clippy::panic, reason = "helpers of tests are tests, too")]

mod commands;
mod losses;
mod questions;
mod scanners;
mod schedules;
mod works;
