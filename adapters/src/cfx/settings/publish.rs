//! What the gateway says of itself and of the stencils.

use std::time::Duration;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::settings::Span;

/// What the gateway says, and where.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Publish {
    /// At a broker: the address it sends to, as the broker wants it, such as
    /// `/exchange/NAME`. Durable queues that take it must be there before. At its own listener:
    /// the address from which others receive.
    pub at: String,
    /// From one `Heartbeat` to the next: 1 s to 5 min, as the standard allows.
    #[serde(default = "one_minute")]
    pub heartbeat: Span,
    /// Whether the strokes of each stencil are told, so far and at its last wash
    /// (`ResourceMaintenanceAndServiceEvent`).
    #[serde(default = "yes")]
    pub counters: bool,
    /// Whether the gateway's alarms are told, as faults (`FaultOccurred`, `FaultCleared`, and
    /// `ActiveFaults` of its heartbeat).
    #[serde(default = "yes")]
    pub alarms: bool,
    /// How long a stencil's next counters wait at least; in between only the latest are kept.
    #[serde(default = "ten_seconds")]
    pub pace: Span,
}

fn one_minute() -> Span {
    Span(Duration::from_secs(60))
}

fn ten_seconds() -> Span {
    Span(Duration::from_secs(10))
}

fn yes() -> bool {
    true
}
