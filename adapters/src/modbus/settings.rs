//! The Modbus part of a machine's entry in the configuration.

mod points;
mod tables;

use std::time::Duration;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_domain::names::{CounterName, OutputName};

use crate::settings::{Drive, Span, Tally};

pub use points::{
    Code, Fault, Level, MachineWord, Measured, Point, Slot, SlotCode, StateWord, StrokeContact,
    Total, WashResult, WashRunning, WashWord,
};
pub use tables::{
    BitTable, ByteOrder, CoilTable, HoldingTable, RawValue, RegisterTable, Table, Type, WordOrder,
};

/// A machine that speaks Modbus TCP: where it is, and what its coils and registers mean.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Settings {
    /// Where the machine's Modbus server listens: host name or IP address, and port. The
    /// protocol's own port is 502.
    #[schemars(extend("examples" = ["192.0.2.10:502"]))]
    pub address: String,
    /// The unit identifier. It matters where a serial line lies behind the address; a machine
    /// reached directly often takes any, or wants 255.
    #[serde(default = "default_unit")]
    pub unit: u8,
    /// Time from one round of reads to the next; a round that takes longer skips the next ones.
    #[serde(default = "one_second")]
    pub poll: Span,
    /// Longest wait for one answer, and for a connection.
    #[serde(default = "one_second")]
    pub timeout: Span,
    /// What is read, and which signal it gives.
    #[serde(default)]
    pub points: Vec<Point>,
    /// What the gateway may write. Nothing else is ever written.
    #[serde(default)]
    pub outputs: Vec<Output>,
}

fn default_unit() -> u8 {
    1
}

fn one_second() -> Span {
    Span(Duration::from_secs(1))
}

/// One thing that the gateway may write, and what it follows.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "drive", rename_all = "kebab-case")]
pub enum Output {
    /// A coil of a printer: permits while the stencil in it may be printed with.
    PrintPermit(Permit),
    /// A coil of a rack: permits while a permitted store or take waits to be carried out.
    DoorRelease(Permit),
    /// A holding register that shows a number growing while the gateway is alive.
    Heartbeat(Heartbeat),
}

/// A coil that lets the machine go on.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Permit {
    /// The output's name, as pages and metrics show it.
    pub name: String,
    /// Permits are coils.
    pub table: CoilTable,
    /// The coil's address, from 0.
    pub at: u16,
    /// The coil's value that lets the machine go on. The other one refuses, and is what the
    /// coil should have when it is not written.
    #[serde(default = "on")]
    pub on_permit: bool,
    /// Where the machine shows what it really does; the coil itself unless set. On means the
    /// same as on the coil.
    #[serde(default)]
    pub read_back: Option<ReadBack>,
}

fn on() -> bool {
    true
}

/// A bit that shows the state of an output.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct ReadBack {
    /// The table the bit is in.
    pub table: BitTable,
    /// The bit's address, from 0.
    pub at: u16,
}

/// A register that shows that the gateway is alive.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Heartbeat {
    /// The output's name, as pages and metrics show it.
    pub name: String,
    /// Heartbeats are holding registers.
    pub table: HoldingTable,
    /// The register's address, from 0. It counts from 0 to 65 535 and over again.
    pub at: u16,
}

impl Output {
    /// The output's name as written.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Self::PrintPermit(permit) | Self::DoorRelease(permit) => &permit.name,
            Self::Heartbeat(heartbeat) => &heartbeat.name,
        }
    }

    /// What the output follows.
    #[must_use]
    pub fn drive(&self) -> Drive {
        match self {
            Self::PrintPermit(_) => Drive::PrintPermit,
            Self::DoorRelease(_) => Drive::DoorRelease,
            Self::Heartbeat(_) => Drive::Heartbeat,
        }
    }
}

impl Settings {
    /// The outputs and what each follows, as far as their names are names.
    #[must_use]
    pub fn outputs(&self) -> Vec<(OutputName, Drive)> {
        self.outputs
            .iter()
            .filter_map(|output| Some((OutputName::new(output.name()).ok()?, output.drive())))
            .collect()
    }

    /// True when the machine says by itself which stencil is in it.
    #[must_use]
    pub fn names_stencil(&self) -> bool {
        let names = |point: &Point| matches!(point, Point::StencilSeated(_));
        self.points.iter().any(names)
    }

    /// What it tells of strokes and wipes.
    #[must_use]
    pub fn tally(&self) -> Tally {
        let counters = self.points.iter().filter_map(|point| {
            let (name, counted) = point.counter()?;
            Some((CounterName::new(name).ok()?, counted))
        });
        let contact = |point: &Point| matches!(point, Point::StrokeContact(_));
        Tally {
            counters: counters.collect(),
            strokes: self.points.iter().any(contact),
            ..Tally::default()
        }
    }
}

#[cfg(test)]
mod tests {
    use serde_json::json;

    use super::*;

    #[test]
    fn defaults_are_as_documented() {
        let settings: Settings = serde_json::from_value(json!({ "address": "h:502" })).unwrap();
        assert_eq!(settings.unit, 1);
        assert_eq!(settings.poll, one_second());
        assert_eq!(settings.timeout, one_second());
    }

    #[test]
    fn settings_survive_writing_and_reading() {
        let settings: Settings = serde_json::from_value(json!({
            "address": "127.0.0.1:502",
            "points": [
                { "signal": "stroke-total", "table": "input", "at": 0, "type": "u32",
                  "words": "high-first", "width": 16 },
                { "signal": "machine-state", "table": "holding", "at": 2, "type": "u16",
                  "values": { "0": "idle", "2": "set-up" } },
            ],
            "outputs": [{ "name": "lock", "drive": "print-permit", "table": "coil", "at": 0 }],
        }))
        .unwrap();
        let text = serde_json::to_string(&settings).unwrap();
        assert_eq!(serde_json::from_str::<Settings>(&text).unwrap(), settings, "{text}");
    }

    #[test]
    fn an_unknown_key_is_refused_inside_a_point() {
        let wrong = json!({ "address": "h:1", "points": [
            { "signal": "fault", "table": "coil", "at": 1, "code": "x", "text": "x", "colour": 1 }
        ]});
        let error = serde_json::from_value::<Settings>(wrong).unwrap_err();
        assert!(error.to_string().contains("colour"), "{error}");
    }

    #[test]
    fn the_schema_tells_points_apart_by_their_signal_and_closes_each() {
        let schema = schemars::schema_for!(Point).to_value();
        let branches = schema["oneOf"].as_array().unwrap();
        for branch in branches {
            let tag = &branch["properties"]["signal"]["const"];
            assert!(tag.is_string(), "{branch}");
            let closed = branch["additionalProperties"] == json!(false)
                || branch["unevaluatedProperties"] == json!(false);
            assert!(closed, "{branch}");
        }
    }
}
