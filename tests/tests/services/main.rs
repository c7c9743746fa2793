//! The servers that other tests lean on, each in a container and as the installed program: it
//! answers, is killed, stopped and frozen, has what it was given, and leaves nothing behind.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper that cannot go on fails the test")]

mod life;
mod mosquitto;
mod nats;
mod prometheus;
mod rabbitmq;
