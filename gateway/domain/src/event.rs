//! Facts: decided, durable, never edited.

mod alarm;
mod configured;
mod doubted;
mod kinds;
mod numbered;
mod people;
mod stream;
mod unmatched;
mod why;

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::asked::RequestKey;
use crate::names::{CounterName, MachineName, OrderName, ProductName, StencilCode};
use crate::signal::{Side, Width};
use crate::time::Timestamp;
use crate::wear::WearLimits;

pub use alarm::{AlarmChange, AlarmEvent, AlarmMoved, Raised};
pub use configured::Configured;
pub use doubted::{ClockDoubted, ClockWrong, DecisionDoubted};
pub use kinds::Event;
pub use numbered::MessageNumbered;
pub use people::{Left, PeopleEvent, Role, Shown};
pub use stream::Stream;
pub use unmatched::WashUnmatched;
pub use why::{LikelyCause, WhyUnattributed};

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

/// An event with what is known of its origin: what the ledger keeps.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Fact {
    /// When the gateway decided it.
    pub at: Timestamp,
    /// The machine's own time, if it gave one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine_time: Option<Timestamp>,
    /// When it happened, by the gateway's clock, where that is known and it was told late.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub happened: Option<Timestamp>,
    /// `machine/kind/identity` of the message it came from: a second one is a repeat.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub identity: Option<String>,
    /// The machine that sent that message, when the event is about another one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sender: Option<MachineName>,
    /// The key of the request it came from: a second one is a repeat.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub asked_with: Option<RequestKey>,
    /// What happened.
    #[serde(flatten)]
    pub event: Event,
}

impl Fact {
    /// When it happened, as far as anybody knows: when it was decided, unless it was told late.
    #[must_use]
    pub fn time(&self) -> Timestamp {
        self.happened.unwrap_or(self.at)
    }
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
    /// What it costs, in hundredths of the plant's currency.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub price_centi: Option<u64>,
    /// How long its supplier takes to deliver another one, in days.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lead_days: Option<u32>,
}

impl StencilSpec {
    /// A stencil of which only this is known.
    #[must_use]
    pub fn rated(stencil: StencilCode, rated_strokes: u64) -> Self {
        Self {
            stencil,
            product: None,
            side: None,
            revision: None,
            rated_strokes,
            rated_washes: None,
            wear_limits: None,
            price_centi: None,
            lead_days: None,
        }
    }
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
    /// A jump further than the machine could have worked, confirmed by the reads after it.
    Jumped,
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
    /// Reported one by one or in lots.
    Reported {
        /// By which machine, when not by the printer itself.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by_machine: Option<MachineName>,
    },
    /// A counter of another machine that counts the printer's strokes.
    Pulses {
        /// Which: the other machine's name and its counter's, with a slash between.
        counter: CounterName,
        /// Its value after these strokes.
        raw: u64,
        /// Where it wraps.
        width: Width,
        /// How the strokes follow from it.
        advance: Advance,
    },
    /// The boards of an order, by its panels and strokes for each.
    Order {
        /// Which order.
        order: OrderName,
        /// Boards made by then.
        boards: u64,
    },
    /// A person entered them.
    Hand {
        /// Who.
        by: String,
        /// Why.
        reason: String,
    },
}

/// The kinds of basis.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum BasisKind {
    /// The printer's own total.
    Counter,
    /// Strokes the printer reports.
    Reported,
    /// Another machine counts or reports them.
    Pulses,
    /// Work orders.
    Order,
    /// People.
    Hand,
}

impl BasisKind {
    /// All kinds.
    pub const ALL: [Self; 5] =
        [Self::Counter, Self::Reported, Self::Pulses, Self::Order, Self::Hand];

    /// The kind's stable word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Counter => "counter",
            Self::Reported => "reported",
            Self::Pulses => "pulses",
            Self::Order => "order",
            Self::Hand => "hand",
        }
    }
}

impl Basis {
    /// Its kind.
    #[must_use]
    pub fn kind(&self) -> BasisKind {
        match self {
            Self::Counter { .. } => BasisKind::Counter,
            Self::Reported { by_machine: None } => BasisKind::Reported,
            Self::Pulses { .. } | Self::Reported { by_machine: Some(_) } => BasisKind::Pulses,
            Self::Order { .. } => BasisKind::Order,
            Self::Hand { .. } => BasisKind::Hand,
        }
    }
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
    /// The value from before a misread again: what looked like a restart was none.
    Misread,
}
