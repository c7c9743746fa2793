//! The running gateway: pipeline, metrics, commands, the demo and rehearsals.

mod account;
mod archive;
mod bursts;
pub mod commands;
pub mod demo;
mod door;
pub mod gateway;
mod journal;
mod keeper;
pub mod logging;
mod metrics;
mod narrator;
pub mod notices;
pub mod plant;
mod rehearse;
mod replay;
mod serve;
mod showing;
mod snapshot;
mod supervisor;

use std::error::Error;

/// An error with all its causes, outermost first.
#[must_use]
pub fn chain(error: &dyn Error) -> String {
    let mut text = error.to_string();
    let mut source = error.source();
    while let Some(cause) = source {
        text.push_str(": ");
        text.push_str(&cause.to_string());
        source = cause.source();
    }
    text
}
