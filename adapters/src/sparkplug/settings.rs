//! The Sparkplug part of the configuration: what a machine's metrics mean, and who we are there.

mod metric;

use std::path::PathBuf;
use std::time::Duration;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_domain::names::{CounterName, OutputName};
use stencilward_domain::plant::Counted;

use super::topic::NodeName;
use crate::settings::{Drive, Span, Tally};

pub use metric::{Fault, Measured, Metric, Named, Phase, Slot, State, Total, Wash};

/// What a machine says over Sparkplug, and what the gateway writes to it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Settings {
    /// The broker, by its name.
    pub broker: String,
    /// The group id of its edge node.
    pub group: String,
    /// The id of its edge node.
    pub edge_node: String,
    /// The device id; without it the machine is the edge node itself.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub device: Option<String>,
    /// Its metrics that are read, and the signal each gives. All others are left alone.
    #[serde(default)]
    pub metrics: Vec<Metric>,
    /// Its metrics that the gateway writes.
    #[serde(default)]
    pub outputs: Vec<Output>,
}

/// A metric that the gateway writes by command, and reads back.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Output {
    /// Its name, as logs and metrics show it.
    pub name: String,
    /// What it follows.
    pub drive: Drive,
    /// The metric's name. It must be in the birth certificate: a Boolean, or a whole number that is
    /// 1 or 0.
    pub metric: String,
    /// The metric that tells the machine's real state; the same one unless set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub read_back: Option<String>,
}

/// Who the gateway is at a broker, where anything differs from what is usual.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct AtBroker {
    /// The broker, by its name.
    pub broker: String,
    /// The id of the gateway as a host application: the broker's `client` unless set. No other
    /// host application may have it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub host_id: Option<String>,
    /// How long a message may be late before all are asked for anew.
    #[serde(default = "two_seconds")]
    pub reorder_timeout: Span,
    /// The edge node as which the gateway shows its stencils; it shows none unless set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub publish_as: Option<OwnNode>,
}

/// The gateway as an edge node.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct OwnNode {
    /// The group id.
    pub group: String,
    /// The edge node's id. No other edge node of the group may have it.
    pub edge_node: String,
    /// The host application without which nothing is published; it is not waited for unless set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub primary_host: Option<String>,
    /// Where the number of its last birth is kept. Not set by people.
    #[serde(skip)]
    pub kept_in: PathBuf,
}

fn two_seconds() -> Span {
    Span(Duration::from_secs(2))
}

impl AtBroker {
    /// What is usual.
    #[must_use]
    pub fn usual(broker: &str) -> Self {
        Self {
            broker: broker.to_owned(),
            host_id: None,
            reorder_timeout: two_seconds(),
            publish_as: None,
        }
    }
}

impl OwnNode {
    pub(super) fn name(&self) -> NodeName {
        NodeName { group: self.group.clone(), node: self.edge_node.clone() }
    }
}

impl Settings {
    pub(super) fn node(&self) -> NodeName {
        NodeName { group: self.group.clone(), node: self.edge_node.clone() }
    }

    /// The outputs by name, with what each follows.
    #[must_use]
    pub fn outputs(&self) -> Vec<(OutputName, Drive)> {
        let named = |output: &Output| Some((OutputName::new(&output.name).ok()?, output.drive));
        self.outputs.iter().filter_map(named).collect()
    }

    /// True when the machine says by itself which stencil is in it.
    #[must_use]
    pub fn names_stencil(&self) -> bool {
        self.metrics.iter().any(|metric| matches!(metric, Metric::StencilSeated(_)))
    }

    /// What it tells of its own strokes, wipes and orders, or of those it counts.
    #[must_use]
    pub fn tally(&self) -> Tally {
        Tally {
            counters: self.metrics.iter().filter_map(Metric::counter).collect(),
            orders: self.metrics.iter().any(|metric| matches!(metric, Metric::Order(_))),
            ..Tally::default()
        }
    }
}

impl Metric {
    /// The counter whose total it tells, and what that counts; none when it tells none.
    #[must_use]
    pub fn counter(&self) -> Option<(CounterName, Counted)> {
        let (total, usual, counted) = match self {
            Self::StrokeTotal(total) => (total, "strokes", Counted::Strokes),
            Self::WipeTotal(total) => (total, "wipes", Counted::Wipes),
            _ => return None,
        };
        let name = total.counter.as_deref().unwrap_or(usual);
        Some((CounterName::new(name).ok()?, counted))
    }
}
