//! The Modbus part of a machine's entry in the configuration.

mod addresses;
mod connection;
mod places;
mod points;
mod tables;

use std::time::Duration;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_domain::names::{CounterName, OutputName};

use crate::settings::{Drive, Span, Tally};

pub use addresses::{Addresses, Forbidden};
pub(crate) use connection::{Endpoint, has_port};
pub use connection::{Frame, Framing, Serial, Tls};
pub use places::{
    BoardTotal, Code, Contact, Fault, FaultCode, Flag, Level, LifeSign, MachineWord, Measured,
    Number, Slot, SlotCode, Total, WashResult,
};
pub(crate) use places::{Layout, Place};
pub use points::Point;
pub use tables::{
    BitTable, ByteOrder, CoilTable, HoldingTable, RawValue, RegisterTable, Table, Type, WordOrder,
};

/// A machine that speaks Modbus: where it is, and what its coils and registers mean.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Settings {
    /// Where the machine's Modbus server listens: host name or IP address, and port. The
    /// protocol's own port is 502; with `tls` it is 802, and may be left out.
    #[serde(default)]
    #[schemars(extend("examples" = ["192.0.2.10:502"]))]
    pub address: Option<String>,
    /// How requests are framed at the address: `rtu` where a converter passes on what it hears on
    /// its serial line.
    #[serde(default)]
    pub framing: Framing,
    /// The serial port the machine is wired to, instead of an address.
    #[serde(default)]
    pub serial: Option<Serial>,
    /// Certificates for Modbus/TCP Security.
    #[serde(default)]
    pub tls: Option<Tls>,
    /// Silence kept before each request on a serial line, where it must be longer than the 3.5
    /// characters of the protocol; behind a converter 10ms unless set.
    #[serde(default)]
    pub quiet: Option<Span>,
    /// The unit identifier. It matters where several machines share an address or a serial line;
    /// a machine reached directly often takes any, or wants 255.
    #[serde(default = "default_unit")]
    pub unit: u8,
    /// Time from one round of reads to the next; a round that takes longer skips the next ones.
    #[serde(default = "one_second")]
    pub poll: Span,
    /// Longest wait for one answer, and for a connection. Unless set one second, or half of the
    /// shortest poll of the others where several machines share a connection.
    #[serde(default)]
    pub timeout: Option<Span>,
    /// How the maker counts the addresses that stand here.
    #[serde(default)]
    pub addresses: Addresses,
    /// The largest gap, in registers, that is worth reading to save a request; 16 bits count as
    /// one register. With 0 nothing is read that nobody named.
    #[serde(default)]
    #[schemars(range(max = 125))]
    pub gap: u16,
    /// Most registers that the machine gives at once, and 16 times as many bits.
    #[serde(default = "most_registers")]
    #[schemars(range(min = 1, max = 125))]
    pub most_registers: u16,
    /// Places that are never read, not even within a gap.
    #[serde(default)]
    pub forbidden: Vec<Forbidden>,
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

/// The protocol's own limit (MODBUS Application Protocol V1.1b3, 6.3 and 6.4).
fn most_registers() -> u16 {
    125
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
    /// The coil's address as the maker prints it.
    #[schemars(range(max = 465_536))]
    pub at: u32,
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
    /// The bit's address as the maker prints it.
    #[schemars(range(max = 465_536))]
    pub at: u32,
}

/// A register that shows that the gateway is alive.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Heartbeat {
    /// The output's name, as pages and metrics show it.
    pub name: String,
    /// Heartbeats are holding registers.
    pub table: HoldingTable,
    /// The register's address as the maker prints it. It counts from 0 to 65 535 and over again.
    #[schemars(range(max = 465_536))]
    pub at: u32,
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
        let any = |is: fn(&Point) -> bool| self.points.iter().any(is);
        Tally {
            counters: counters.collect(),
            strokes: any(|point| matches!(point, Point::StrokeContact(_))),
            wipes: any(|point| matches!(point, Point::WipeContact(_))),
            orders: any(|point| {
                matches!(point, Point::Order(_) | Point::BoardTotal(_) | Point::BoardContact(_))
            }),
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
        assert_eq!(settings.framing, Framing::Tcp);
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
