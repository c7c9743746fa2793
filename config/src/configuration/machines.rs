//! Machines, as their author writes them.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_adapters::settings::Span;
use stencilward_adapters::{cfx, files, modbus, mqtt, record, sparkplug};
use stencilward_domain::event::BasisKind;
use stencilward_domain::plant::{Counted, MachineKind};

/// What a machine is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum Kind {
    /// Prints solder paste through a stencil.
    Printer,
    /// Washes stencils.
    Washer,
    /// Keeps stencils in slots.
    Rack,
    /// Anything else that speaks: a scanner, a counter, a line controller.
    Other,
}

impl Kind {
    /// The word for it in the file.
    #[must_use]
    pub fn word(self) -> &'static str {
        match self {
            Self::Printer => "printer",
            Self::Washer => "washer",
            Self::Rack => "rack",
            Self::Other => "other",
        }
    }
}

impl From<Kind> for MachineKind {
    fn from(kind: Kind) -> Self {
        match kind {
            Kind::Printer => Self::Printer,
            Kind::Washer => Self::Washer,
            Kind::Rack => Self::Rack,
            Kind::Other => Self::Other,
        }
    }
}

/// Where a printer's strokes come from.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum BasisWord {
    /// The printer's own total.
    Counter,
    /// Strokes the printer reports as they are done.
    Reported,
    /// Another machine counts or reports them.
    Pulses,
    /// Work orders.
    Order,
    /// People.
    Hand,
}

impl From<BasisWord> for BasisKind {
    fn from(word: BasisWord) -> Self {
        match word {
            BasisWord::Counter => Self::Counter,
            BasisWord::Reported => Self::Reported,
            BasisWord::Pulses => Self::Pulses,
            BasisWord::Order => Self::Order,
            BasisWord::Hand => Self::Hand,
        }
    }
}

/// Which basis of a printer's strokes books, and which only check.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct StrokesSettings {
    /// The one that books. Unless set, the first that the wiring offers of counter, reported,
    /// pulses and order; else hand.
    pub book: Option<BasisWord>,
    /// Those that are compared with it at the end of each run. Unless set, all others that the
    /// wiring offers.
    pub check: Option<Vec<BasisWord>>,
}

/// What a counter counts.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum CountsWord {
    /// Print strokes.
    Strokes,
    /// Understencil wipes.
    Wipes,
}

impl From<CountsWord> for Counted {
    fn from(word: CountsWord) -> Self {
        match word {
            CountsWord::Strokes => Self::Strokes,
            CountsWord::Wipes => Self::Wipes,
        }
    }
}

/// A counter that differs from the rest of its machine.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct CounterSettings {
    /// Its name, as the machine's points or messages give it.
    pub counter: String,
    /// The printer it counts for, where it is not the one of `counts-for`.
    #[serde(default)]
    pub of: Option<String>,
    /// What it counts: strokes, or wipes where it is read as `wipe-total`, unless set.
    #[serde(default)]
    pub counts: Option<CountsWord>,
}

/// One machine, with one protocol; a printer that others count for may have none.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct MachineSettings {
    /// Its name, as logs, metrics and answers show it.
    pub name: String,
    /// What it is for.
    pub kind: Kind,
    /// True while it is being wired: what it says is decoded and shown, and changes nothing. No
    /// output of it is written but heartbeats.
    #[serde(default)]
    pub trial: bool,
    /// The line it belongs to.
    #[serde(default)]
    pub line: Option<String>,
    /// The shortest time between two strokes of a printer; faster counting is not believed.
    /// Needed where its strokes are counted.
    #[serde(default)]
    pub fastest_cycle: Option<Span>,
    /// Where a printer's strokes come from.
    #[serde(default)]
    pub strokes: Option<StrokesSettings>,
    /// The printer whose strokes, wipes, boards and orders it tells of, when it is none itself.
    #[serde(default)]
    pub counts_for: Option<String>,
    /// Counters that count for another printer than the rest, or something other than strokes.
    #[serde(default)]
    pub counters: Vec<CounterSettings>,
    /// A file that takes everything that the machine says, while this is here.
    #[serde(default)]
    pub record: Option<record::Settings>,
    /// It speaks Modbus TCP.
    #[serde(default)]
    pub modbus: Option<modbus::Settings>,
    /// It speaks MQTT through a broker.
    #[serde(default)]
    pub mqtt: Option<mqtt::Settings>,
    /// It is a Sparkplug B edge node, or a device of one.
    #[serde(default)]
    pub sparkplug: Option<sparkplug::Settings>,
    /// It speaks IPC-CFX over AMQP 1.0.
    #[serde(default)]
    pub cfx: Option<cfx::Settings>,
    /// It drops orders into a folder.
    #[serde(default)]
    pub files: Option<files::Settings>,
}
