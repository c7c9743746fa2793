//! The state of stencils and machines as JSON.

mod machine;
mod stencil;

use schemars::JsonSchema;
use serde::Serialize;
use stencilward_domain::decision::{Decision, Rule, ToldReason, told};
use stencilward_domain::event::Position;
use stencilward_domain::names::{MachineName, SlotName, StencilCode};

use crate::contract::shapes::{EventNumber, Name, RuleWord};

pub(crate) use machine::{MachineView, Machines, machine, machines, view as machine_view};
pub(crate) use stencil::{Stencils, Whole, stencil, stencils, whole};

/// A reason against something.
#[derive(Serialize, JsonSchema)]
pub(crate) struct ReasonView {
    /// The event that made it so, where there is one.
    #[schemars(with = "Option<EventNumber>")]
    because: Option<Position>,
    /// Its stable code.
    code: &'static str,
    /// What is wrong and what to do.
    sentence: String,
}

impl From<ToldReason> for ReasonView {
    fn from(ToldReason { code, sentence, because }: ToldReason) -> Self {
        Self { code, sentence, because }
    }
}

/// A decision with every reason against it.
#[derive(Serialize, JsonSchema)]
pub(crate) struct DecisionView {
    /// At which rack or printer; none where it is asked in general.
    #[schemars(with = "Option<Name>")]
    machine: Option<MachineName>,
    /// True exactly when there is no reason against it.
    permitted: bool,
    reasons: Vec<ReasonView>,
    #[schemars(with = "RuleWord")]
    rule: Rule,
    #[schemars(with = "Option<Name>")]
    slot: Option<SlotName>,
    /// About which stencil; none where a printer holds nothing known.
    #[schemars(with = "Option<Name>")]
    stencil: Option<StencilCode>,
}

impl From<&Decision> for DecisionView {
    fn from(decision: &Decision) -> Self {
        Self {
            rule: decision.rule,
            stencil: decision.stencil.clone(),
            machine: decision.machine.clone(),
            slot: decision.slot.clone(),
            permitted: decision.permitted(),
            reasons: told(&decision.reasons).into_iter().map(ReasonView::from).collect(),
        }
    }
}
