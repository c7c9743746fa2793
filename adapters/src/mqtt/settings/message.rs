//! Messages: what a machine publishes, and which signal each gives.

use std::collections::BTreeMap;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_domain::names::CounterName;
use stencilward_domain::plant::Counted;

use crate::settings::{StateWord, WashWord};

/// The signals a message can give.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Signal {
    /// A cumulative counter's value. Needs `width`; the total is at `value`.
    StrokeTotal,
    /// Strokes done since the last message. Needs `count`.
    StrokesDone,
    /// A cumulative counter of understencil wipes. Needs `width`; the total is at `value`.
    WipeTotal,
    /// Understencil wipes done since the last message. Needs `count`.
    WipesDone,
    /// The stencil in the machine. Needs `stencil`; null or empty means none.
    StencilSeated,
    /// No stencil is in the machine.
    StencilRemoved,
    /// A wash began.
    WashBegan,
    /// A wash ended. Needs `outcome` and `outcomes`.
    WashEnded,
    /// A slot holds a stencil. Needs `slot`.
    SlotOccupied,
    /// A slot is empty. Needs `slot`.
    SlotEmptied,
    /// May this stencil be stored? Needs `stencil`; the answer goes to `answer`.
    StoreAsked,
    /// May this stencil be taken? Needs `stencil`; the answer goes to `answer`.
    TakeAsked,
    /// What the machine is doing. Needs `states`; its own word is at `value`.
    MachineState,
    /// A fault. Needs `code` and `active`.
    Fault,
    /// The machine's own birth and death messages. Needs `up` and `lost`; the word is at `value`.
    Link,
    /// Something was measured. Needs `quantity` and `unit`; the number is at `value`.
    Measured,
    /// An order may be worked on. Needs `order`.
    OrderReleased,
    /// An order began at the machine. Needs `order`.
    OrderStarted,
    /// An order is done at the machine. Needs `order`.
    OrderFinished,
    /// Boards passed the machine. Needs `count`.
    BoardsCounted,
}

impl Signal {
    /// True when it is told as a number that is added up: a repeat would count twice.
    #[must_use]
    pub fn adds_up(self) -> bool {
        matches!(self, Self::StrokesDone | Self::WipesDone | Self::BoardsCounted)
    }
}

/// One kind of message. A pointer is a JSON pointer (RFC 6901) into the payload, such as `/code`,
/// or the name of a level of the topic in braces, such as `{slot}`; without a pointer the whole
/// payload is the text or number.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Message {
    /// The topic filter; `+` stands for one level, `#` for the rest, and a name in braces for one
    /// level that pointers can name: `floor/{line}/{machine}/strokes`.
    pub topic: String,
    /// The signal it gives.
    pub signal: Signal,
    /// The quality of service to subscribe with: 1 unless set. With 0 a message may be lost.
    #[serde(default = "once_at_least")]
    #[schemars(range(max = 2))]
    pub qos: u8,
    /// Only messages in which each of these pointers has this value.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub when: BTreeMap<String, serde_json::Value>,
    /// Pointer to the message's own identity, by which a repeat is recognised.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub identity: Option<String>,
    /// Pointer to a number that grows by one with each message on the topic. What is missing
    /// between two is told, with how many they were.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub sequence: Option<String>,
    /// Pointer to the machine's time: RFC 3339 text, or seconds or milliseconds since 1970.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub time: Option<String>,
    /// Pointer to the name of the machine it is about, when another one says it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine: Option<String>,
    /// Pointer to the total, word or number.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<String>,
    /// The counter's name: `strokes`, or `wipes` for a total of wipes, unless set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub counter: Option<String>,
    /// Where the counter wraps: 16, 32 or 64 bits.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub width: Option<u8>,
    /// Pointer to the number of strokes, wipes or boards.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub count: Option<String>,
    /// Pointer to the stencil's code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stencil: Option<String>,
    /// Pointer to the slot.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub slot: Option<String>,
    /// Pointer to the order.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order: Option<String>,
    /// Pointer to the printer a stencil is taken for.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub destination: Option<String>,
    /// Pointer to the wash programme.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub programme: Option<String>,
    /// Pointer to the word for how the wash ended.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub outcome: Option<String>,
    /// The machine's word for each outcome: `passed`, `failed`, `aborted`.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub outcomes: BTreeMap<String, WashWord>,
    /// Values the washer measured.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub measured: Vec<Measures>,
    /// The machine's word for each state: `running`, `idle`, `set-up`, `down`.
    #[serde(default, skip_serializing_if = "BTreeMap::is_empty")]
    pub states: BTreeMap<String, StateWord>,
    /// Pointer to the fault's code.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub code: Option<String>,
    /// Pointer to the fault in words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
    /// Pointer to true while the fault is present.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub active: Option<String>,
    /// Words that say the machine is there.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub up: Vec<String>,
    /// Words that say it is gone.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub lost: Vec<String>,
    /// What is measured, such as `tension`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub quantity: Option<String>,
    /// Its unit, such as `N/cm`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub unit: Option<String>,
    /// What one step of the measured number is worth in the unit: 1 unless set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<f64>,
    /// What is added after scaling, in the unit: 0 unless set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offset: Option<f64>,
    /// Pointer to the order's product.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub product: Option<String>,
    /// Pointer to the order's board side, `top` or `bottom`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub side: Option<String>,
    /// Pointer to the order's product revision.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub revision: Option<String>,
    /// Pointer to the number of boards the order makes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub boards: Option<String>,
    /// Pointer to the number of boards that one print covers: those of a panel.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub panels_per_stroke: Option<String>,
    /// Pointer to the squeegee strokes for one panel: 2 where it is printed twice.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub strokes_per_panel: Option<String>,
    /// Pointer to the strokes before the first board, such as kneading the paste.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub setup_strokes: Option<String>,
    /// Pointer to the stencils the order may be printed with: a list, or one text with spaces or
    /// commas between the codes.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stencils: Option<String>,
    /// Pointer to the number of boards that were made.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub made: Option<String>,
    /// The topic that answers to a question are published on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub answer: Option<String>,
}

fn once_at_least() -> u8 {
    1
}

impl Message {
    /// The name of the counter whose total it tells.
    #[must_use]
    pub fn counter_name(&self) -> &str {
        let usual = if self.signal == Signal::WipeTotal { "wipes" } else { "strokes" };
        self.counter.as_deref().unwrap_or(usual)
    }

    /// The counter whose total it tells, and what that counts; none when it tells none.
    #[must_use]
    pub fn counter(&self) -> Option<(CounterName, Counted)> {
        let counted = match self.signal {
            Signal::StrokeTotal => Counted::Strokes,
            Signal::WipeTotal => Counted::Wipes,
            _ => return None,
        };
        Some((CounterName::new(self.counter_name()).ok()?, counted))
    }
}

/// One measured value.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Measures {
    /// Pointer to the number.
    pub at: String,
    /// What it is, such as `resistivity`.
    pub quantity: String,
    /// Its unit, such as `MΩ·cm`.
    pub unit: String,
    /// What one step of the number is worth in the unit: 1 unless set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub scale: Option<f64>,
    /// What is added after scaling, in the unit: 0 unless set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub offset: Option<f64>,
}
