//! Metrics: what a machine tells by name, and which signal each gives.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::settings::StateWord;

/// A metric that is read, and the signal it gives.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(tag = "signal")]
pub enum Metric {
    /// A cumulative counter of strokes.
    #[serde(rename = "stroke-total")]
    StrokeTotal(Total),
    /// A cumulative counter of understencil wipes.
    #[serde(rename = "wipe-total")]
    WipeTotal(Total),
    /// The code of the stencil in the printer; null or empty while there is none.
    #[serde(rename = "stencil-seated")]
    StencilSeated(Named),
    /// True while a slot of the rack holds a stencil.
    #[serde(rename = "slot")]
    Slot(Slot),
    /// The code of the stencil in a slot; null or empty while there is none.
    #[serde(rename = "slot-code")]
    SlotCode(Slot),
    /// What the machine is doing.
    #[serde(rename = "machine-state")]
    MachineState(State),
    /// True while a fault is present.
    #[serde(rename = "fault")]
    Fault(Fault),
    /// A measured value. Of a washer with a `wash-state` it is told with the end of the wash.
    #[serde(rename = "measured")]
    Measured(Measured),
    /// What the washer is doing.
    #[serde(rename = "wash-state")]
    WashState(Wash),
    /// The code of the stencil in the washer.
    #[serde(rename = "wash-stencil")]
    WashStencil(Named),
    /// The wash programme.
    #[serde(rename = "wash-programme")]
    WashProgramme(Named),
    /// The order that the machine works on; null or empty while there is none. It is told to have
    /// begun and ended when this changes.
    #[serde(rename = "order")]
    Order(Named),
    /// True while a person or the rack asks to store a stencil. The output `door-release` answers.
    #[serde(rename = "store-asked")]
    StoreAsked(Named),
    /// True while a person or the rack asks to take a stencil. The output `door-release` answers.
    #[serde(rename = "take-asked")]
    TakeAsked(Named),
    /// The code of the stencil that is asked about.
    #[serde(rename = "asked-stencil")]
    AskedStencil(Named),
    /// The slot that is asked about.
    #[serde(rename = "asked-slot")]
    AskedSlot(Named),
    /// The order that a stencil is to be taken for.
    #[serde(rename = "asked-order")]
    AskedOrder(Named),
}

impl Metric {
    /// The metric's name at the machine.
    #[must_use]
    pub fn name(&self) -> &str {
        match self {
            Self::StrokeTotal(total) | Self::WipeTotal(total) => &total.name,
            Self::Slot(slot) | Self::SlotCode(slot) => &slot.name,
            Self::MachineState(state) => &state.name,
            Self::Fault(fault) => &fault.name,
            Self::Measured(measured) => &measured.name,
            Self::WashState(wash) => &wash.name,
            Self::StencilSeated(named)
            | Self::WashStencil(named)
            | Self::WashProgramme(named)
            | Self::Order(named)
            | Self::StoreAsked(named)
            | Self::TakeAsked(named)
            | Self::AskedStencil(named)
            | Self::AskedSlot(named)
            | Self::AskedOrder(named) => &named.name,
        }
    }
}

/// A metric that needs no more than its name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Named {
    /// The metric's name, as the birth certificate gives it.
    pub name: String,
}

/// A cumulative counter.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Total {
    /// The metric's name, as the birth certificate gives it.
    pub name: String,
    /// Bits after which the counter starts again at zero.
    #[schemars(schema_with = "crate::settings::widths")]
    pub width: u8,
    /// The counter's name, where the machine has several: `strokes`, or `wipes` for a total of
    /// wipes, unless set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counter: Option<String>,
}

/// A slot of a rack.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Slot {
    /// The metric's name, as the birth certificate gives it.
    pub name: String,
    /// The slot's name.
    pub slot: String,
}

/// What the machine is doing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct State {
    /// The metric's name, as the birth certificate gives it.
    pub name: String,
    /// What each word, number, `true` or `false` means. One that is not listed gives the state
    /// unknown.
    pub values: BTreeMap<String, StateWord>,
}

/// A fault.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Fault {
    /// The metric's name, as the birth certificate gives it.
    pub name: String,
    /// The fault's code.
    #[schemars(length(min = 1))]
    pub code: String,
    /// The fault in words.
    #[serde(default)]
    pub text: String,
}

/// A measured value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Measured {
    /// The metric's name, as the birth certificate gives it.
    pub name: String,
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

fn one() -> f64 {
    1.0
}

/// What the washer is doing.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Wash {
    /// The metric's name, as the birth certificate gives it.
    pub name: String,
    /// What each word, number, `true` or `false` means.
    pub values: BTreeMap<String, Phase>,
}

/// What a washer is doing, or how its last wash ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Phase {
    /// Nothing. A wash that goes from running to idle without a result was aborted.
    Idle,
    /// It washes.
    Running,
    /// The programme ran to its end and its own checks passed.
    Passed,
    /// The programme ran, and a check failed.
    Failed,
    /// The programme was stopped before its end.
    Aborted,
}
