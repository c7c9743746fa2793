//! Settings that all adapters share.

use std::collections::BTreeMap;
use std::time::Duration;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Deserializer, Serialize, Serializer};
use stencilward_domain::names::CounterName;
use stencilward_domain::plant::Counted;
use stencilward_domain::signal::{MachineState, WashOutcome};

/// A span of time written with its unit, such as `500ms`, `2min` or `72h`.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, JsonSchema)]
#[schemars(
    with = "String",
    description = "a number with its unit: 500ms, 5s, 2min, 72h, 30days",
    extend("pattern" = r"^\s*([0-9]+\s*[a-z]+\s*)+$")
)]
pub struct Span(pub Duration);

impl Span {
    /// Reads a span from a number with its unit.
    ///
    /// # Errors
    /// When it is not one.
    pub fn parse(text: &str) -> Result<Self, humantime::DurationError> {
        humantime::parse_duration(text).map(Self)
    }
}

impl<'de> Deserialize<'de> for Span {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        let text = String::deserialize(deserializer)?;
        humantime::parse_duration(&text).map(Self).map_err(serde::de::Error::custom)
    }
}

impl Serialize for Span {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        serializer.collect_str(&humantime::format_duration(self.0))
    }
}

/// What the settings of a machine let it tell of strokes, wipes and orders.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Tally {
    /// Its counters, and what each counts.
    pub counters: BTreeMap<CounterName, Counted>,
    /// True when it tells of strokes as they are done.
    pub strokes: bool,
    /// True when it tells of wipes as they are done.
    pub wipes: bool,
    /// True when it tells of orders that begin or end, or of boards.
    pub orders: bool,
}

/// What is wrong with the unit of a measured quantity. The rules know tension in one unit only.
#[must_use]
pub fn unit_fault(quantity: &str, unit: &str) -> Option<&'static str> {
    (quantity.trim() == "tension" && unit != "N/cm").then_some(
        "tension is judged in N/cm: write N/cm, and let the machine or a scale convert it; a \
         value in another unit needs another name, such as tension-raw",
    )
}

/// What is wrong with a washer that has no word for a wash that passed.
pub(crate) const NEVER_PASSED: &str = "no value means passed, so no wash could ever make a stencil \
                                       clean; say which one does";

/// What an output follows.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Drive {
    /// On a printer: on while the stencil in it may be printed with.
    PrintPermit,
    /// On a rack: on while a permitted store or take waits to be carried out.
    DoorRelease,
    /// A number that grows every second while the gateway is alive. A machine that watches it
    /// locks by itself when it stands still.
    Heartbeat,
}

/// The widths at which a total may wrap, in bits.
pub(crate) fn widths(_: &mut SchemaGenerator) -> Schema {
    json_schema!({ "type": "integer", "enum": [16, 32, 64] })
}

/// What a machine is doing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum StateWord {
    /// Producing.
    Running,
    /// Ready and waiting.
    Idle,
    /// Being set up.
    SetUp,
    /// Stopped by a fault or by hand.
    Down,
}

impl From<StateWord> for MachineState {
    fn from(word: StateWord) -> Self {
        match word {
            StateWord::Running => Self::Running,
            StateWord::Idle => Self::Idle,
            StateWord::SetUp => Self::SetUp,
            StateWord::Down => Self::Down,
        }
    }
}

/// How a wash ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum WashWord {
    /// The programme ran to its end and its own checks passed.
    Passed,
    /// The programme ran, and a check failed.
    Failed,
    /// The programme was stopped before its end.
    Aborted,
}

impl From<WashWord> for WashOutcome {
    fn from(word: WashWord) -> Self {
        match word {
            WashWord::Passed => Self::Passed,
            WashWord::Failed => Self::Failed,
            WashWord::Aborted => Self::Aborted,
        }
    }
}
