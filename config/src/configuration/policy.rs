//! What is allowed, as its author writes it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_adapters::settings::Span;

use super::AlarmsSettings;

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
    /// Counting across broken links, and how far two bases may lie apart.
    pub counting: CountingSettings,
    /// Orders.
    pub orders: OrdersSettings,
    /// How alarms behave.
    pub alarms: AlarmsSettings,
    /// What stencils and washes cost.
    pub cost: CostSettings,
    /// How long a supplier takes to deliver a stencil that says no time of its own: whole days.
    pub lead_time: Option<Span>,
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
    /// A message that comes longer after what it tells of counts from then, where its protocol has
    /// the time of the event (CFX) and the machine's clock is known: 1min unless set.
    pub late_after: Option<Span>,
    /// How far two bases of one run may lie apart before that is a finding.
    pub tolerance: ToleranceSettings,
}

/// How far two bases of one run may lie apart. A difference within either is none.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct ToleranceSettings {
    /// Strokes: 5 unless set.
    pub strokes: u64,
    /// Per cent of the larger of the two: 2 unless set.
    #[schemars(range(min = 0, max = 100))]
    pub share: f64,
}

impl Default for ToleranceSettings {
    fn default() -> Self {
        Self { strokes: 5, share: 2.0 }
    }
}

/// Orders.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct OrdersSettings {
    /// True when a stencil is only taken for an order that was released before.
    pub must_be_known: bool,
}

/// What stencils and washes cost, for reports.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct CostSettings {
    /// The currency of all prices, as reports show it.
    #[schemars(length(min = 1, max = 8), extend("examples" = ["EUR"]))]
    pub currency: Option<String>,
    /// What one wash costs, with at most two decimals.
    #[schemars(range(min = 0, max = 1_000_000_000))]
    pub wash: Option<f64>,
}
