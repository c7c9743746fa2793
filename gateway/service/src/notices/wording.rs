//! What each notice says; its JSON Schema is published beside the README.

use schemars::{JsonSchema, schema_for};
use serde::Serialize;
use stencilward_domain::decision::Decision;
use stencilward_domain::machine::Machine;
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::site::Site;
use stencilward_domain::time::Timestamp;

/// The condition of a stencil.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct StencilNotice {
    /// Its code.
    pub stencil: String,
    /// What it is for.
    pub product: Option<String>,
    /// `top` or `bottom`.
    pub side: Option<String>,
    /// Its revision.
    pub revision: Option<String>,
    /// `slot`, `printer`, `washer`, `in-hand` or `unknown`.
    pub place: String,
    /// The rack, printer or washer it is in.
    pub machine: Option<String>,
    /// The slot it is in.
    pub slot: Option<String>,
    /// `clean`, `printed`, `washing` or `unknown`.
    pub cleanliness: String,
    /// `in-service`, `reorder` or `stopped`.
    pub wear_band: String,
    /// `released`, `on-hold`, `concession` or `retired`.
    pub standing: String,
    /// Strokes booked to it.
    pub strokes: u64,
    /// Strokes it is rated for.
    pub rated_strokes: u64,
    /// The part of its rated life that is used up; 1 is its end.
    pub life_ratio: f64,
    /// Strokes since its last wash.
    pub strokes_since_wash: u64,
    /// Washes.
    pub washes: u64,
    /// The last event in the ledger when this was so: a higher one is newer.
    pub event: u64,
}

/// The condition of a machine.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct MachineNotice {
    /// Its name.
    pub machine: String,
    /// `printer`, `washer`, `rack` or `other`.
    pub kind: String,
    /// True while it is only looked at.
    pub trial: bool,
    /// `up`, `down` or `never-up`.
    pub link: String,
    /// Why it is down.
    pub why_down: Option<String>,
    /// `running`, `idle`, `set-up`, `down` or `unknown`.
    pub state: Option<String>,
    /// The stencil in it.
    pub stencil: Option<String>,
    /// The order it works on.
    pub order: Option<String>,
    /// Strokes it made that are nobody's yet.
    pub unattributed_strokes: u64,
}

/// The last answer to whether a stencil may be stored, taken or printed with.
#[derive(Debug, Clone, PartialEq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct DecisionNotice {
    /// `store`, `take` or `print`.
    pub rule: String,
    /// The stencil.
    pub stencil: Option<String>,
    /// The rack or printer that asked.
    pub machine: Option<String>,
    /// The slot asked about.
    pub slot: Option<String>,
    /// Whether it may.
    pub permitted: bool,
    /// Every reason against it.
    pub reasons: Vec<Reason>,
}

/// A reason against something.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, JsonSchema)]
#[schemars(deny_unknown_fields)]
pub struct Reason {
    /// Its stable code.
    pub code: String,
    /// What is wrong and what to do.
    pub sentence: String,
    /// The event that made it so.
    pub because: Option<u64>,
}

/// All notices.
#[derive(JsonSchema)]
#[schemars(untagged)]
#[allow(dead_code, reason = "stands for the schema only")]
enum Notice {
    Stencil(StencilNotice),
    Machine(MachineNotice),
    Decision(DecisionNotice),
}

/// The JSON Schema (draft 2020-12) of all notices.
#[must_use]
pub fn schema() -> String {
    format!("{:#}\n", schema_for!(Notice).to_value())
}

impl StencilNotice {
    pub(super) fn of(site: &Site, code: &StencilCode, now: Timestamp) -> Option<Self> {
        let stencil = site.state().stencils.get(code)?;
        let place = &stencil.place.value;
        Some(Self {
            stencil: code.to_string(),
            product: stencil.spec.product.as_ref().map(ToString::to_string),
            side: stencil.spec.side.map(|side| side.as_str().to_owned()),
            revision: stencil.spec.revision.clone(),
            place: place.kind().to_owned(),
            machine: place.machine().map(ToString::to_string),
            slot: place.slot().map(ToString::to_string),
            cleanliness: stencil.cleanliness.value.as_str().to_owned(),
            wear_band: stencil.band.value.as_str().to_owned(),
            standing: stencil.standing(now).as_str().to_owned(),
            strokes: stencil.strokes,
            rated_strokes: stencil.spec.rated_strokes,
            life_ratio: stencil.life_ratio(),
            strokes_since_wash: stencil.strokes_since_wash,
            washes: stencil.washes,
            event: site.state().head.0,
        })
    }
}

impl MachineNotice {
    pub(super) fn of(site: &Site, name: &MachineName) -> Self {
        let unheard = Machine::default();
        let machine = site.state().machines.get(name).unwrap_or(&unheard);
        Self {
            machine: name.to_string(),
            kind: site.plant().kind(name).as_str().to_owned(),
            trial: site.plant().on_trial(name),
            link: machine.link.as_str().to_owned(),
            why_down: machine.link.why_down().map(str::to_owned),
            state: machine.state.as_ref().map(|(state, _)| state.as_str().to_owned()),
            stencil: machine.seat.as_ref().map(|seat| seat.code.to_string()),
            order: machine.order.as_ref().map(|order| order.order.to_string()),
            unattributed_strokes: machine.unattributed,
        }
    }
}

impl DecisionNotice {
    pub(super) fn of(decision: &Decision) -> Self {
        let reason = |told: stencilward_domain::decision::ToldReason| Reason {
            code: told.code.to_owned(),
            sentence: told.sentence,
            because: told.because.map(|position| position.0),
        };
        Self {
            rule: decision.rule.as_str().to_owned(),
            stencil: decision.stencil.as_ref().map(ToString::to_string),
            machine: decision.machine.as_ref().map(ToString::to_string),
            slot: decision.slot.as_ref().map(ToString::to_string),
            permitted: decision.permitted(),
            reasons: decision.told_reasons().into_iter().map(reason).collect(),
        }
    }
}
