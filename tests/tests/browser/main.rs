//! Each person's whole task in a real browser, against the real program and real protocols.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper that cannot go on fails the test")]

mod demo;
mod engineer;
mod live;
mod manager;
mod operator;
mod pages;
mod past;
mod sign_in;
mod technician;
mod works;
