//! Where a point lies and how it is laid out: the keys that all points share.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::tables::{ByteOrder, RawValue, Table, Type, WordOrder};
use crate::settings::{Span, StateWord, WashWord};

/// Where a point lies and how it is laid out, whatever it means.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Place {
    pub(crate) table: Table,
    /// As the maker prints it.
    pub(crate) at: u32,
    /// From one read to the next; none when it is read in every round.
    pub(crate) poll: Option<Span>,
    pub(crate) layout: Layout,
}

/// How a point is laid out.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Layout {
    /// One bit, by itself or the given one of a register.
    Bit { bit: Option<u8>, active: Level },
    /// A number or text.
    Value {
        kind: Type,
        words: Option<WordOrder>,
        bytes: Option<ByteOrder>,
        bits: Option<[u8; 2]>,
        /// The length of a text.
        registers: Option<u16>,
    },
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

/// A point that is one bit: the keys all of them have, then its own.
macro_rules! bit_point {
    ($(#[$doc:meta])* $name:ident { $($own:tt)* }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
        #[serde(rename_all = "kebab-case", deny_unknown_fields)]
        pub struct $name {
            /// The table the bit is in.
            pub table: Table,
            /// Its address as the maker prints it: of the bit, or of the register it is in.
            #[schemars(range(max = 465_536))]
            pub at: u32,
            /// Which bit of the register, 0 for the one that is worth 1. Needed in a register.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            #[schemars(range(max = 15))]
            pub bit: Option<u8>,
            /// The level at which it says so: `on` unless set; `off` for a contact that opens.
            #[serde(default)]
            pub active: Level,
            /// From one read to the next, a multiple of the machine's own: each round unless set.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub poll: Option<Span>,
            $($own)*
        }

        impl $name {
            pub(crate) fn place(&self) -> Place {
                let layout = Layout::Bit { bit: self.bit, active: self.active };
                Place { table: self.table, at: self.at, poll: self.poll, layout }
            }
        }
    };
}

/// A point that is a value: the keys all of them have, then its own.
macro_rules! value_point {
    ($(#[$doc:meta])* $name:ident { $($own:tt)* }) => {
        $(#[$doc])*
        #[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
        #[serde(rename_all = "kebab-case", deny_unknown_fields)]
        pub struct $name {
            /// The table it is in.
            pub table: Table,
            /// The address of its first register as the maker prints it.
            #[schemars(range(max = 465_536))]
            pub at: u32,
            /// How its bits make a value.
            #[serde(rename = "type")]
            pub kind: Type,
            /// Which register of a number comes first. Needed where a number takes more than
            /// one, since the protocol leaves it to the maker.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub words: Option<WordOrder>,
            /// Which byte of a register comes first: `high-first` unless set.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub bytes: Option<ByteOrder>,
            /// The first and the last bit, where only some bits of the number count; 0 is the
            /// one that is worth 1.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub bits: Option<[u8; 2]>,
            /// From one read to the next, a multiple of the machine's own: each round unless set.
            #[serde(default, skip_serializing_if = "Option::is_none")]
            pub poll: Option<Span>,
            $($own)*
        }

        impl $name {
            pub(crate) fn place(&self) -> Place {
                let Self { kind, words, bytes, bits, .. } = *self;
                let layout = Layout::Value { kind, words, bytes, bits, registers: self.length() };
                Place { table: self.table, at: self.at, poll: self.poll, layout }
            }
        }
    };
}

/// A point that is a number.
macro_rules! number_point {
    ($(#[$doc:meta])* $name:ident { $($own:tt)* }) => {
        value_point! { $(#[$doc])* $name { $($own)* } }

        impl $name {
            fn length(&self) -> Option<u16> {
                None
            }
        }
    };
}

/// A point that is a code or name, as text or as a number that stands for it.
macro_rules! name_point {
    ($(#[$doc:meta])* $name:ident { $($own:tt)* }) => {
        value_point! {
            $(#[$doc])*
            $name {
                /// Length of a text in registers, two characters in each.
                #[serde(default, skip_serializing_if = "Option::is_none")]
                #[schemars(range(min = 1, max = 125))]
                pub registers: Option<u16>,
                /// What a number stands for, empty for none. A number not listed is its own name
                /// in decimal digits; 0 not listed is none.
                #[serde(default, skip_serializing_if = "Option::is_none")]
                pub values: Option<BTreeMap<RawValue, String>>,
                $($own)*
            }
        }

        impl $name {
            fn length(&self) -> Option<u16> {
                self.registers
            }
        }
    };
}

bit_point! {
    /// A bit that says so while it has its level.
    Flag {}
}

bit_point! {
    /// A bit that shows a fault.
    Fault {
        /// The fault's code: short, and stable.
        #[schemars(length(min = 1))]
        pub code: String,
        /// The fault in words.
        pub text: String,
    }
}

bit_point! {
    /// A bit that shows whether a slot holds a stencil.
    Slot {
        /// The slot's name.
        pub slot: String,
    }
}

number_point! {
    /// A number.
    Number {}
}

number_point! {
    /// A cumulative counter.
    Total {
        /// The counter's name, where the machine has several: `strokes`, or `wipes` for a total of
        /// wipes, unless set.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        pub counter: Option<String>,
        /// Bits after which the counter starts again at zero: those of its type unless set.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schemars(schema_with = "crate::settings::widths")]
        pub width: Option<u8>,
    }
}

number_point! {
    /// A cumulative counter of boards.
    BoardTotal {
        /// Bits after which the counter starts again at zero: those of its type unless set.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        #[schemars(schema_with = "crate::settings::widths")]
        pub width: Option<u8>,
    }
}

number_point! {
    /// What the machine is doing, as a number.
    MachineWord {
        /// What each number means. One that is not listed gives the state unknown.
        pub values: BTreeMap<RawValue, StateWord>,
    }
}

number_point! {
    /// A number that changes while the machine is alive.
    LifeSign {
        /// How long it may stand still before the link counts as lost, such as `10s`.
        pub within: Span,
    }
}

number_point! {
    /// The number of the fault that is present; 0 for none.
    FaultCode {
        /// Each number in words, empty for no fault. One that is not listed is told by its number
        /// alone; 0 not listed is no fault.
        #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
        pub values: BTreeMap<RawValue, String>,
    }
}

number_point! {
    /// How a wash ended, as a number.
    WashResult {
        /// What each number means. While one that is not listed stands there, the end of the
        /// wash is not told.
        pub values: BTreeMap<RawValue, WashWord>,
    }
}

number_point! {
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

name_point! {
    /// A code or name, as text or as a number.
    Code {}
}

name_point! {
    /// The code of the stencil in a slot, as text or as a number.
    SlotCode {
        /// The slot's name.
        pub slot: String,
    }
}

/// A contact that closes once for each event. It is read in every round.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Contact {
    /// The table the bit is in.
    pub table: Table,
    /// Its address as the maker prints it: of the bit, or of the register it is in.
    #[schemars(range(max = 465_536))]
    pub at: u32,
    /// Which bit of the register, 0 for the one that is worth 1. Needed in a register.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(max = 15))]
    pub bit: Option<u8>,
    /// The level whose beginning counts: `on` unless set.
    #[serde(default)]
    pub counts_when: Level,
}

impl Contact {
    pub(crate) fn place(&self) -> Place {
        let layout = Layout::Bit { bit: self.bit, active: self.counts_when };
        Place { table: self.table, at: self.at, poll: None, layout }
    }
}
