//! The CFX part of the configuration: what a machine's messages mean.

mod endpoint;
mod output;
mod publish;

use std::path::Path;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_domain::names::OutputName;

use crate::settings::{Drive, Tally};

pub use endpoint::{AtBroker, Endpoint, Listen, OwnTls};
pub use output::{By, Output, Requests, Stage};
pub use publish::Publish;

/// What a machine says over CFX, and what it is answered.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Settings {
    /// The gateway's endpoint that hears it, by its name.
    pub endpoint: String,
    /// The machine's own CFX handle, exactly as its messages have it under `Source`.
    pub handle: String,
    /// What is read of its messages; all else is left alone.
    #[serde(default)]
    pub signals: Vec<Signal>,
    /// The messages by which `strokes-done` counts. There is one only: two would count every
    /// stroke twice.
    #[serde(default)]
    pub strokes_from: StrokesFrom,
    /// The strokes of one panel; needed with `strokes-from: work-completed`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(range(min = 1, max = 100))]
    pub strokes_per_panel: Option<u32>,
    /// Which part of a tool is the stencil's code.
    #[serde(default)]
    pub stencil_code: StencilCodeFrom,
    /// How the codes of stencils begin. Needed where a machine sends tools without their type: of
    /// these only those that begin so are stencils.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stencil_prefix: Option<String>,
    /// How many of its heartbeats may be missed until it counts as lost.
    #[serde(default = "three")]
    #[schemars(range(min = 1, max = 100))]
    pub missed_heartbeats: u32,
    /// What a question about a tool (`ValidateTopicRequest`) asks of a stencil. Unless set such
    /// questions are answered as not supported.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tool_check: Option<ToolCheck>,
    /// Where it listens for requests itself; needed with an output `by: lock-station`.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub requests: Option<Requests>,
    /// Interlocks that it asks for, or is asked for.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub outputs: Vec<Output>,
}

/// What is read of a machine's messages.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum Signal {
    /// Strokes as they are done, by the messages of `strokes-from`.
    StrokesDone,
    /// Understencil wipes, by `StencilCleaned`. They are no wash.
    WipesDone,
    /// Which stencil is in the printer: by `ToolChanged`, `StencilCleaned`, and `ToolsUsed` where
    /// that counts.
    StencilSeated,
    /// Washes, by `ToolsLoaded`, `ToolsCleaned`, `ToolsUnloaded`.
    Washes,
    /// What it is doing, by `StationStateChanged`.
    MachineState,
    /// Its faults, by `FaultOccurred`, `FaultCleared`, `Heartbeat`.
    Faults,
    /// Boards, by `WorkStarted` and `WorkCompleted`.
    BoardsCounted,
    /// The order that it works on, by `WorkStarted` (2.1 and later).
    OrderStarted,
    /// Orders that may be worked on, by `WorkOrdersCreated`, `WorkOrdersUpdated`,
    /// `WorkOrderQuantityUpdated`, `WorkOrdersScheduled`.
    OrderReleased,
}

/// The messages by which strokes count.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum StrokesFrom {
    /// `UnitsProcessed` of a solder-paste printer: one stroke for each entry of `Strokes`.
    #[default]
    UnitsProcessed,
    /// `ToolsUsed`: the stencil's `UsageCycles`.
    ToolsUsed,
    /// `WorkCompleted`: `strokes-per-panel` for each panel.
    WorkCompleted,
}

/// Which part of a tool is the stencil's code.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum StencilCodeFrom {
    /// `UniqueIdentifier`: what was scanned.
    #[default]
    UniqueIdentifier,
    /// `Name`.
    Name,
}

/// What a question about a tool asks.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum ToolCheck {
    /// May it be taken out of storage, to be printed with?
    Take,
    /// May it be stored?
    Store,
}

fn three() -> u32 {
    3
}

impl Settings {
    /// True when this is read of its messages.
    #[must_use]
    pub fn reads(&self, signal: Signal) -> bool {
        self.signals.contains(&signal)
    }

    /// The outputs by name, with what each follows.
    #[must_use]
    pub fn outputs(&self) -> Vec<(OutputName, Drive)> {
        let named = |output: &Output| Some((OutputName::new(&output.name).ok()?, output.drive));
        self.outputs.iter().filter_map(named).collect()
    }

    /// The output that answers whether the next panel may come in.
    pub(super) fn next_panel(&self) -> Option<OutputName> {
        let asked = self.outputs.iter().find(|output| output.by == By::UnitValidation)?;
        OutputName::new(&asked.name).ok()
    }

    /// The outputs that lock the station, by name.
    pub(super) fn locks(&self) -> impl Iterator<Item = (OutputName, &Output)> {
        let locks = self.outputs.iter().filter(|output| output.by == By::LockStation);
        locks.filter_map(|output| Some((OutputName::new(&output.name).ok()?, output)))
    }

    /// Makes relative paths of certificates and keys start at a folder.
    pub fn start_paths_at(&mut self, folder: &Path) {
        if let Some(requests) = &mut self.requests {
            requests.start_paths_at(folder);
        }
    }

    /// True when the machine says by itself which stencil is in it.
    #[must_use]
    pub fn names_stencil(&self) -> bool {
        self.reads(Signal::StencilSeated)
    }

    /// What it tells of its own strokes, wipes and orders, or of those it counts.
    #[must_use]
    pub fn tally(&self) -> Tally {
        Tally {
            strokes: self.reads(Signal::StrokesDone),
            wipes: self.reads(Signal::WipesDone),
            orders: self.reads(Signal::BoardsCounted) || self.reads(Signal::OrderStarted),
            ..Tally::default()
        }
    }
}
