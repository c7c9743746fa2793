//! The configuration as its author writes it.

use std::path::PathBuf;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_adapters::settings::Span;
use stencilward_adapters::{modbus, mqtt};
use stencilward_domain::plant::MachineKind;
use stencilward_domain::signal::Side;

/// A whole plant: its policy, its stencils, and the machines the gateway talks to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Configuration {
    /// The plant's name, as logs and answers show it.
    pub site: String,
    /// Where metrics and API are served: a loopback address and a port.
    #[serde(default = "default_listen")]
    pub listen: String,
    /// The ledger's file; a relative path starts at the configuration file's folder.
    #[serde(default = "default_ledger")]
    #[schemars(with = "String")]
    pub ledger: PathBuf,
    /// How much of what is allowed.
    #[serde(default)]
    pub policy: PolicySettings,
    /// Products that differ from the plant's policy.
    #[serde(default)]
    pub products: Vec<ProductSettings>,
    /// The stencils the plant owns.
    #[serde(default)]
    pub stencils: Vec<StencilSettings>,
    /// MQTT brokers that machines speak through.
    #[serde(default)]
    pub brokers: Vec<mqtt::Broker>,
    /// The machines, each with the protocol it speaks.
    #[serde(default)]
    pub machines: Vec<MachineSettings>,
}

impl Configuration {
    /// Nothing set.
    pub(crate) fn empty() -> Self {
        Self {
            site: String::new(),
            listen: default_listen(),
            ledger: default_ledger(),
            policy: PolicySettings::default(),
            products: Vec::new(),
            stencils: Vec::new(),
            brokers: Vec::new(),
            machines: Vec::new(),
        }
    }
}

fn default_listen() -> String {
    "127.0.0.1:9464".to_owned()
}

fn default_ledger() -> PathBuf {
    PathBuf::from("stencilward.db")
}

/// What is allowed, for the whole plant.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct PolicySettings {
    /// Where the wear bands begin.
    pub wear: Option<WearSettings>,
    /// Washing.
    pub wash: WashSettings,
    /// Printing.
    pub printing: PrintingSettings,
    /// Tension of the stencil; without it no tension is asked for.
    pub tension: Option<TensionSettings>,
    /// How long a permitted store or take may be carried out: 60s unless set.
    pub permit: Option<Span>,
    /// Counting across broken links.
    pub counting: CountingSettings,
}

/// Where the wear bands begin, in per cent of rated life.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct WearSettings {
    /// From here its successor should be ordered; 80 in common practice.
    #[schemars(range(min = 0, max = 1000))]
    pub reorder: f64,
    /// From here only a concession lets it be used; 99 in common practice.
    #[schemars(range(min = 0, max = 1000))]
    pub stop: f64,
}

/// Washing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct WashSettings {
    /// How old a wash may be when the stencil is taken: 72h unless set, `null` for any age.
    pub valid_for: Option<Span>,
    /// True when a person may report a wash; else only a washer can.
    pub by_hand: bool,
    /// How long a printed stencil may wait for its wash: 1h unless set.
    pub dry_out: Span,
}

impl Default for WashSettings {
    fn default() -> Self {
        Self {
            valid_for: Some(Span(std::time::Duration::from_secs(72 * 3_600))),
            by_hand: false,
            dry_out: Span(std::time::Duration::from_secs(3_600)),
        }
    }
}

/// Printing.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct PrintingSettings {
    /// True when a stencil must have been taken with permission: so unless set.
    pub needs_take: bool,
    /// Strokes allowed between washes; any number unless set.
    #[schemars(range(min = 1))]
    pub strokes_between_washes: Option<u64>,
    /// Time allowed between washes while printing; any unless set.
    pub time_between_washes: Option<Span>,
}

impl Default for PrintingSettings {
    fn default() -> Self {
        Self { needs_take: true, strokes_between_washes: None, time_between_washes: None }
    }
}

/// Tension of the stencil.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct TensionSettings {
    /// Lowest allowed, in N/cm.
    #[schemars(range(min = 0, max = 1000))]
    pub lowest: f64,
    /// Longest time between measurements.
    pub every: Span,
}

/// Counting across broken links.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct CountingSettings {
    /// A link broken for less than this is taken to leave the stencil in its printer: 2min
    /// unless set.
    pub trusted_outage: Option<Span>,
    /// How long to wait after a broken link for the machine to name its stencil: 10s unless set.
    pub seat_wait: Option<Span>,
}

/// A product that differs from the plant's policy.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct ProductSettings {
    /// The product's name, as stencils and orders give it.
    pub name: String,
    /// Where the wear bands of its stencils begin.
    pub wear: WearSettings,
}

/// The side of the board.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum BoardSide {
    /// Top side.
    Top,
    /// Bottom side.
    Bottom,
}

impl From<BoardSide> for Side {
    fn from(side: BoardSide) -> Self {
        match side {
            BoardSide::Top => Self::Top,
            BoardSide::Bottom => Self::Bottom,
        }
    }
}

/// One stencil.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct StencilSettings {
    /// The code on its frame.
    pub code: String,
    /// The product it prints.
    #[serde(default)]
    pub product: Option<String>,
    /// The board side it prints.
    #[serde(default)]
    pub side: Option<BoardSide>,
    /// The product revision it prints.
    #[serde(default)]
    pub revision: Option<String>,
    /// Strokes it is rated for.
    #[schemars(range(min = 1))]
    pub rated_strokes: u64,
    /// Washes it is rated for; not rated unless set.
    #[serde(default)]
    #[schemars(range(min = 1))]
    pub rated_washes: Option<u64>,
    /// Its own wear bands, where they differ from its product's and the plant's.
    #[serde(default)]
    pub wear: Option<WearSettings>,
    /// Strokes it had made when it came under the gateway. Taken in once.
    #[serde(default)]
    pub strokes_so_far: u64,
    /// True when it was clean as it came under the gateway; else it must be washed first.
    /// Taken in once.
    #[serde(default)]
    pub clean: bool,
}

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

/// One machine, with exactly one protocol.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct MachineSettings {
    /// Its name, as logs, metrics and answers show it.
    pub name: String,
    /// What it is for.
    pub kind: Kind,
    /// The line it belongs to.
    #[serde(default)]
    pub line: Option<String>,
    /// The shortest time between two of its strokes; faster counting is not believed. Needed
    /// where strokes are counted.
    #[serde(default)]
    pub fastest_cycle: Option<Span>,
    /// It speaks Modbus TCP.
    #[serde(default)]
    pub modbus: Option<modbus::Settings>,
    /// It speaks MQTT through a broker.
    #[serde(default)]
    pub mqtt: Option<mqtt::Settings>,
}
