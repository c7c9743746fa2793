//! Points: what is read of a machine, and which signal it gives.

use std::collections::BTreeMap;

use schemars::{JsonSchema, Schema, SchemaGenerator, json_schema};
use serde::{Deserialize, Serialize};
use stencilward_domain::plant::Counted;
use stencilward_domain::signal::{MachineState, WashOutcome};

use super::tables::{BitTable, ByteOrder, RawValue, RegisterTable, Type, WordOrder};

/// What is read at one place, and which signal it gives.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "signal", rename_all = "kebab-case")]
pub enum Point {
    /// A cumulative counter of strokes.
    StrokeTotal(Total),
    /// A cumulative counter of understencil wipes.
    WipeTotal(Total),
    /// A contact that closes once for each stroke, where nothing counts them. Strokes shorter than
    /// a poll, and those while the link is lost, are missed: a counter register is better.
    StrokeContact(StrokeContact),
    /// The code of the stencil in the printer; empty while there is none.
    StencilSeated(Code),
    /// What the machine is doing.
    MachineState(MachineWord),
    /// A bit that is on while a fault is present.
    Fault(Fault),
    /// A bit that is on while a slot of the rack holds a stencil.
    Slot(Slot),
    /// The code of the stencil in a slot; empty while there is none.
    SlotCode(SlotCode),
    /// A bit that is on while the washer runs.
    WashRunning(WashRunning),
    /// How the last wash ended. Must be set no later than the running bit goes off.
    WashResult(WashResult),
    /// The code of the stencil in the washer.
    WashStencil(Code),
    /// A measured value. Of a washer with a running bit it is told with the end of the wash.
    Measured(Measured),
}

/// A point in registers: the fields all of them have, then its own.
macro_rules! register_point {
    ($(#[$doc:meta])* $name:ident { $($own:tt)* }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
        #[serde(rename_all = "kebab-case", deny_unknown_fields)]
        pub struct $name {
            /// The table the registers are in.
            pub table: RegisterTable,
            /// The address of the first register, from 0.
            pub at: u16,
            /// How the registers make a value.
            #[serde(rename = "type")]
            pub kind: Type,
            /// Which register of a number comes first. Needed where a number takes more than
            /// one, since the protocol leaves it to the maker.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub words: Option<WordOrder>,
            $($own)*
        }
    };
}

register_point! {
    /// A cumulative counter.
    Total {
        /// The counter's name, where the machine has several: `strokes`, or `wipes` for a total of
        /// wipes, unless set.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub counter: Option<String>,
        /// Bits after which the counter starts again at zero: those of its type unless set.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schemars(schema_with = "widths")]
        pub width: Option<u8>,
    }
}

impl Point {
    /// The name of the counter whose total it reads, and what that counts; none when it reads none.
    #[must_use]
    pub fn counter(&self) -> Option<(&str, Counted)> {
        let (total, usual, counted) = match self {
            Self::StrokeTotal(total) => (total, "strokes", Counted::Strokes),
            Self::WipeTotal(total) => (total, "wipes", Counted::Wipes),
            _ => return None,
        };
        Some((total.counter.as_deref().unwrap_or(usual), counted))
    }
}

fn widths(_: &mut SchemaGenerator) -> Schema {
    json_schema!({ "type": "integer", "enum": [16, 32, 64] })
}

register_point! {
    /// The code of a stencil, as text or as a number.
    Code {
        /// Length of a text in registers, two characters in each.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schemars(range(min = 1, max = 125))]
        pub registers: Option<u16>,
        /// Which character of a register comes first: `high-first` unless set.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub bytes: Option<ByteOrder>,
        /// The code a number stands for, empty for no stencil. A number not listed is its own
        /// code in decimal digits; 0 not listed is no stencil.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub values: Option<BTreeMap<RawValue, String>>,
    }
}

register_point! {
    /// The code of the stencil in a slot, as text or as a number.
    SlotCode {
        /// Length of a text in registers, two characters in each.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schemars(range(min = 1, max = 125))]
        pub registers: Option<u16>,
        /// Which character of a register comes first: `high-first` unless set.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub bytes: Option<ByteOrder>,
        /// The code a number stands for, empty for no stencil. A number not listed is its own
        /// code in decimal digits; 0 not listed is no stencil.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub values: Option<BTreeMap<RawValue, String>>,
        /// The slot's name.
        pub slot: String,
    }
}

register_point! {
    /// What the machine is doing, as a number.
    MachineWord {
        /// What each number means. One that is not listed gives the state unknown.
        pub values: BTreeMap<RawValue, StateWord>,
    }
}

register_point! {
    /// How a wash ended, as a number.
    WashResult {
        /// What each number means. While one that is not listed stands there, the end of the
        /// wash is not told.
        pub values: BTreeMap<RawValue, WashWord>,
    }
}

register_point! {
    /// A measured value.
    Measured {
        /// What one step of the number is worth in the unit: 1 unless set.
        #[serde(default = "one")]
        pub scale: f64,
        /// What is added after scaling, in the unit: 0 unless set.
        #[serde(default)]
        pub offset: f64,
        /// What is measured, such as `tension`.
        #[schemars(length(min = 1))]
        pub quantity: String,
        /// Its unit, such as `N/cm`.
        pub unit: String,
    }
}

fn one() -> f64 {
    1.0
}

/// A contact that closes once for each stroke.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct StrokeContact {
    /// The table the bit is in.
    pub table: BitTable,
    /// The bit's address, from 0.
    pub at: u16,
    /// The level whose beginning is a stroke: `on` unless set.
    #[serde(default)]
    pub counts_when: Level,
}

/// A level of a bit.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Level {
    /// On: 1.
    #[default]
    On,
    /// Off: 0.
    Off,
}

/// A bit that is on while a fault is present.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Fault {
    /// The table the bit is in.
    pub table: BitTable,
    /// The bit's address, from 0.
    pub at: u16,
    /// The fault's code: short, and stable.
    #[schemars(length(min = 1))]
    pub code: String,
    /// The fault in words.
    pub text: String,
}

/// A bit that is on while a slot holds a stencil.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Slot {
    /// The table the bit is in.
    pub table: BitTable,
    /// The bit's address, from 0.
    pub at: u16,
    /// The slot's name.
    pub slot: String,
}

/// A bit that is on while the washer runs.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct WashRunning {
    /// The table the bit is in.
    pub table: BitTable,
    /// The bit's address, from 0.
    pub at: u16,
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
