//! What a machine said, in machine-neutral form, before anyone decides what it means.

use serde::{Deserialize, Serialize};

use crate::names::{CounterName, MachineName, OrderName, ProductName, SlotName, StencilCode};
use crate::time::Timestamp;

/// One thing that one machine said.
#[derive(Debug, Clone, PartialEq)]
pub struct Signal {
    /// The machine it is about.
    pub machine: MachineName,
    /// When the gateway received it.
    pub received: Timestamp,
    /// The machine's own time, if it has one.
    pub machine_time: Option<Timestamp>,
    /// By which a repeat is recognised, where the machine offers it.
    pub identity: Option<String>,
    /// What was said.
    pub said: Said,
}

/// How a counter's value reached the gateway.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Reading {
    /// Asked for again and again: strokes may lie between two reads.
    Polled,
    /// Sent by the machine after each stroke.
    Reported,
    /// The same, in a message that may have come before: a value that does not go on from the
    /// known one says nothing new.
    ReportedAgain,
}

impl Reading {
    /// True when the machine sends it by itself.
    #[must_use]
    pub fn is_reported(self) -> bool {
        self != Self::Polled
    }
}

/// The width at which a cumulative counter wraps to zero.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum Width {
    /// Wraps after 65 535.
    Bits16,
    /// Wraps after 4 294 967 295.
    Bits32,
    /// Wraps after 18 446 744 073 709 551 615.
    Bits64,
}

impl Width {
    /// The largest value of this width.
    #[must_use]
    pub fn largest(self) -> u64 {
        match self {
            Self::Bits16 => u64::from(u16::MAX),
            Self::Bits32 => u64::from(u32::MAX),
            Self::Bits64 => u64::MAX,
        }
    }
}

/// How a wash ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum WashOutcome {
    /// The programme ran to its end and its own checks passed.
    Passed,
    /// The programme ran, and a check failed.
    Failed,
    /// The programme was stopped before its end.
    Aborted,
}

impl WashOutcome {
    /// The outcome's stable word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Passed => "passed",
            Self::Failed => "failed",
            Self::Aborted => "aborted",
        }
    }
}

/// What a machine is doing.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MachineState {
    /// Producing.
    Running,
    /// Ready and waiting.
    Idle,
    /// Being set up.
    SetUp,
    /// Stopped by a fault or by hand.
    Down,
    /// Said something that the configuration does not translate.
    Unknown,
}

impl MachineState {
    /// The state's stable word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Running => "running",
            Self::Idle => "idle",
            Self::SetUp => "set-up",
            Self::Down => "down",
            Self::Unknown => "unknown",
        }
    }
}

/// The side of the board a stencil prints.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Side {
    /// Top side.
    Top,
    /// Bottom side.
    Bottom,
}

impl Side {
    /// The side's stable word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Top => "top",
            Self::Bottom => "bottom",
        }
    }
}

/// One measured value with its unit, as the configuration names it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Measurement {
    /// What was measured, such as `tension` or `resistivity`.
    pub quantity: String,
    /// The value in `unit`.
    pub value: f64,
    /// The unit, such as `N/cm`, `°C`, `MΩ·cm`.
    pub unit: String,
}

/// What an order asks for.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct OrderSpec {
    /// The order.
    pub order: OrderName,
    /// The product to print.
    pub product: Option<ProductName>,
    /// The board side to print.
    pub side: Option<Side>,
    /// The product revision.
    pub revision: Option<String>,
    /// Boards to make.
    pub quantity: Option<u64>,
    /// Boards that one print covers: those of a panel.
    pub panels_per_stroke: Option<u32>,
    /// Squeegee strokes for one panel: 2 where it is printed twice.
    pub strokes_per_panel: Option<u32>,
    /// Strokes before the first board, such as kneading the paste.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub setup_strokes: Option<u32>,
    /// The stencils it may be printed with; none named: any that fits.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub stencils: Vec<StencilCode>,
}

impl OrderSpec {
    /// An order that names only itself.
    #[must_use]
    pub fn named(order: OrderName) -> Self {
        Self {
            order,
            product: None,
            side: None,
            revision: None,
            quantity: None,
            panels_per_stroke: None,
            strokes_per_panel: None,
            setup_strokes: None,
            stencils: Vec::new(),
        }
    }

    /// Strokes a printer makes until `boards` are printed. A panel that is not full takes a whole
    /// stroke too. What the order does not say counts as one, set-up strokes as none.
    #[must_use]
    pub fn strokes_for(&self, boards: u64) -> u64 {
        let at_once = u64::from(self.panels_per_stroke.unwrap_or(1).max(1));
        let each = u64::from(self.strokes_per_panel.unwrap_or(1));
        let set_up = u64::from(self.setup_strokes.unwrap_or(0));
        boards.div_ceil(at_once).saturating_mul(each).saturating_add(set_up)
    }
}

/// The kinds of signal. Written, each has its kind's word under `signal`.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[serde(tag = "signal", rename_all = "kebab-case")]
pub enum Said {
    /// The link to the machine is up. `resumed`: nothing the machine said meanwhile was lost.
    LinkUp {
        /// True when the broker or machine kept everything said while the link was down.
        resumed: bool,
    },
    /// The link to the machine is lost.
    LinkLost {
        /// In words, with what to check.
        why: String,
    },
    /// A cumulative counter was read.
    #[serde(rename = "stroke-total")]
    CounterRead {
        /// Which counter.
        counter: CounterName,
        /// The raw total.
        raw: u64,
        /// Where it wraps.
        width: Width,
        /// Asked for, or sent after each stroke.
        reading: Reading,
    },
    /// Strokes were done: an increment, not a total.
    StrokesDone {
        /// How many.
        count: u64,
    },
    /// The printer wiped the understencil: an increment, not a total.
    WipesDone {
        /// How many wipes.
        count: u64,
    },
    /// A stencil is in the printer.
    #[serde(rename = "stencil-seated")]
    Seated {
        /// Its code as read.
        #[serde(rename = "stencil")]
        code: StencilCode,
    },
    /// No stencil is in the printer any more.
    #[serde(rename = "stencil-removed")]
    Removed,
    /// A wash began.
    WashBegan {
        /// Which stencil, if the washer knows.
        #[serde(rename = "stencil")]
        code: Option<StencilCode>,
        /// The wash programme.
        programme: Option<String>,
    },
    /// A wash ended.
    WashEnded {
        /// Which stencil, if the washer knows.
        #[serde(rename = "stencil")]
        code: Option<StencilCode>,
        /// The wash programme.
        programme: Option<String>,
        /// How it ended.
        outcome: WashOutcome,
        /// Values the washer measured.
        measured: Vec<Measurement>,
    },
    /// A slot holds a stencil.
    SlotOccupied {
        /// The slot.
        slot: SlotName,
        /// Which stencil, if the rack knows.
        #[serde(rename = "stencil")]
        code: Option<StencilCode>,
    },
    /// A slot is empty.
    SlotEmptied {
        /// The slot.
        slot: SlotName,
        /// Which stencil left, if the rack knows.
        #[serde(rename = "stencil")]
        code: Option<StencilCode>,
    },
    /// May this stencil be stored?
    StoreAsked {
        /// The stencil, as scanned.
        #[serde(rename = "stencil")]
        code: StencilCode,
        /// The slot, if chosen.
        slot: Option<SlotName>,
    },
    /// May this stencil be taken out?
    TakeAsked {
        /// The stencil, as scanned.
        #[serde(rename = "stencil")]
        code: StencilCode,
        /// For which order.
        order: Option<OrderName>,
        /// For which printer.
        destination: Option<MachineName>,
    },
    /// What the machine is doing.
    #[serde(rename = "machine-state")]
    State {
        /// Translated.
        state: MachineState,
        /// The machine's own word for it.
        word: String,
    },
    /// A fault is present.
    FaultRaised {
        /// The machine's code.
        code: String,
        /// In words.
        text: String,
    },
    /// A fault is gone.
    FaultEnded {
        /// The machine's code.
        code: String,
    },
    /// The number of a message, from a machine that numbers those of a sequence one by one.
    MessageNumbered {
        /// Which sequence, such as the topic it sends on.
        sequence: String,
        /// The number.
        number: u64,
    },
    /// Something was measured.
    Measured {
        /// On which stencil, if on one.
        #[serde(rename = "stencil")]
        code: Option<StencilCode>,
        /// What, how much.
        #[serde(flatten)]
        measurement: Measurement,
    },
    /// An order may be worked on.
    OrderReleased(OrderSpec),
    /// An order has begun at this machine.
    OrderStarted(OrderSpec),
    /// An order is done at this machine.
    OrderFinished {
        /// Which order.
        order: OrderName,
        /// Boards made, where the machine says so.
        made: Option<u64>,
    },
    /// Boards passed a position of the line, for cross-checking.
    BoardsCounted {
        /// How many since the last report.
        count: u64,
    },
}

impl Said {
    /// The signal's stable word, as used in configuration, logs and metrics.
    #[must_use]
    pub fn kind(&self) -> &'static str {
        match self {
            Self::LinkUp { .. } => "link-up",
            Self::LinkLost { .. } => "link-lost",
            Self::CounterRead { .. } => "stroke-total",
            Self::StrokesDone { .. } => "strokes-done",
            Self::WipesDone { .. } => "wipes-done",
            Self::Seated { .. } => "stencil-seated",
            Self::Removed => "stencil-removed",
            Self::WashBegan { .. } => "wash-began",
            Self::WashEnded { .. } => "wash-ended",
            Self::SlotOccupied { .. } => "slot-occupied",
            Self::SlotEmptied { .. } => "slot-emptied",
            Self::StoreAsked { .. } => "store-asked",
            Self::TakeAsked { .. } => "take-asked",
            Self::State { .. } => "machine-state",
            Self::FaultRaised { .. } => "fault-raised",
            Self::FaultEnded { .. } => "fault-ended",
            Self::MessageNumbered { .. } => "message-numbered",
            Self::Measured { .. } => "measured",
            Self::OrderReleased(_) => "order-released",
            Self::OrderStarted(_) => "order-started",
            Self::OrderFinished { .. } => "order-finished",
            Self::BoardsCounted { .. } => "boards-counted",
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::names::{CounterName, StencilCode};

    #[test]
    fn a_signal_is_written_under_its_kind() {
        let code = StencilCode::new("ST-1").expect("a code");
        let counter = CounterName::new("strokes").expect("a name");
        let (width, reading) = (Width::Bits16, Reading::Polled);
        let measurement =
            Measurement { quantity: "tension".to_owned(), value: 32.5, unit: "N/cm".to_owned() };
        for (said, fields) in [
            (
                Said::CounterRead { counter, raw: 7, width, reading },
                r#""counter":"strokes","raw":7,"width":"bits16","reading":"polled""#,
            ),
            (Said::Seated { code: code.clone() }, r#""stencil":"ST-1""#),
            (Said::Removed, ""),
            (Said::StrokesDone { count: 2 }, r#""count":2"#),
            (
                Said::State { state: MachineState::SetUp, word: "2".to_owned() },
                r#""state":"set-up","word":"2""#,
            ),
            (
                Said::Measured { code: Some(code), measurement },
                r#""stencil":"ST-1","quantity":"tension","value":32.5,"unit":"N/cm""#,
            ),
        ] {
            let comma = if fields.is_empty() { "" } else { "," };
            let line = format!("{{\"signal\":\"{}\"{comma}{fields}}}", said.kind());
            assert_eq!(serde_json::to_string(&said).expect("becomes JSON"), line);
            assert_eq!(serde_json::from_str::<Said>(&line).expect("can be read"), said);
        }
    }
}
