//! Facts: decided, durable, never edited.

mod kinds;

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::names::{CounterName, MachineName, OrderName, ProductName, StencilCode};
use crate::signal::{Side, Width};
use crate::time::Timestamp;
use crate::wear::WearLimits;

pub use kinds::Event;

/// An event's place in the ledger's total order, from 1.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Position(pub u64);

impl fmt::Display for Position {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "#{}", self.0)
    }
}

/// What has a history of its own: the unit within which the ledger refuses a stale writer.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Stream {
    /// One stencil.
    Stencil(StencilCode),
    /// One machine.
    Machine(MachineName),
    /// One order.
    Order(OrderName),
    /// The gateway itself.
    Site,
}

impl fmt::Display for Stream {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Stencil(code) => write!(f, "stencil/{code}"),
            Self::Machine(name) => write!(f, "machine/{name}"),
            Self::Order(name) => write!(f, "order/{name}"),
            Self::Site => f.write_str("site"),
        }
    }
}

/// An event with what is known of its origin: what the ledger keeps.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fact {
    /// When the gateway decided it.
    pub at: Timestamp,
    /// The machine's own time, if it gave one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine_time: Option<Timestamp>,
    /// `machine/identity` of the message it came from: a second one is a repeat.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub identity: Option<String>,
    /// What happened.
    #[serde(flatten)]
    pub event: Event,
}

/// A fact in its place in the ledger.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Recorded {
    /// Its place.
    pub position: Position,
    /// What is recorded there.
    #[serde(flatten)]
    pub fact: Fact,
}

/// What a stencil is: from the configuration or an import.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct StencilSpec {
    /// The code on its frame.
    pub stencil: StencilCode,
    /// The product it prints.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub product: Option<ProductName>,
    /// The board side it prints.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub side: Option<Side>,
    /// The product revision it prints.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revision: Option<String>,
    /// Strokes it is rated for.
    pub rated_strokes: u64,
    /// Washes it is rated for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub rated_washes: Option<u64>,
    /// Its own wear limits, where they differ from the plant's.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub wear_limits: Option<WearLimits>,
}

/// How a counter's advance was computed.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Advance {
    /// The difference of two reads.
    Difference,
    /// The difference across a wrap to zero.
    Wrapped,
    /// The new value after a restart at zero.
    Restarted,
    /// The difference to the value before a misread.
    Recovered,
}

/// Where a number of strokes comes from.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(tag = "basis", rename_all = "kebab-case")]
pub enum Basis {
    /// A cumulative counter.
    Counter {
        /// Which.
        counter: CounterName,
        /// Its value after these strokes.
        raw: u64,
        /// Where it wraps.
        width: Width,
        /// How the strokes follow from it.
        advance: Advance,
    },
    /// The machine reported them one by one or in lots.
    Reported,
}

/// Why a counter's value is kept without booking strokes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Noted {
    /// The first value ever seen.
    First,
    /// Unchanged after a change of stencil: what follows is the new stencil's.
    SeatChanged,
    /// Restarted at zero and not counted on yet.
    Restarted,
    /// A doubtful value that the following reads confirmed: counting goes on from here.
    Accepted,
}

/// Why nobody can say which stencil made some strokes.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WhyUnattributed {
    /// No stencil was known in the printer.
    NothingSeated,
    /// The stencil was changed between two reads.
    ChangedMeanwhile,
    /// The link was broken, and nobody confirmed the stencil since.
    SeatUnconfirmed,
    /// The code in the printer is not in the stencil list.
    UnknownStencil,
    /// More strokes at once than the machine could have done.
    Implausible,
}
