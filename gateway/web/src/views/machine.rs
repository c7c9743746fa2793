//! Machines as JSON.

use std::collections::{BTreeMap, BTreeSet};

use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::http::HeaderMap;
use axum::response::Response;
use schemars::JsonSchema;
use serde::Serialize;
use stencilward_domain::event::{BasisKind, Position};
use stencilward_domain::machine::Machine;
use stencilward_domain::names::{MachineName, OrderName, StencilCode};
use stencilward_domain::plant::MachineKind;
use stencilward_domain::run;
use stencilward_domain::signal::MachineState;
use stencilward_domain::site::Site;
use stencilward_domain::time::Timestamp;

use super::DecisionView;
use crate::Surface;
use crate::contract::shapes::{
    EventNumber, LinkWord, MachineKindWord, MachineStateWord, Moment, Name,
};
use crate::paging::{Paged, Paging, page};
use crate::problem::Problem;
use crate::version;

/// A machine.
#[derive(Serialize, JsonSchema)]
pub(crate) struct MachineView {
    booked_strokes: u64,
    /// The last value of each counter.
    counters: BTreeMap<String, u64>,
    /// Faults present: code and text.
    faults: BTreeMap<String, String>,
    #[schemars(with = "MachineKindWord")]
    kind: &'static str,
    line: Option<String>,
    #[schemars(with = "LinkWord")]
    link: &'static str,
    #[schemars(with = "Name")]
    machine: MachineName,
    maintenance: Option<Maintenance>,
    /// The order it works on.
    #[schemars(with = "Option<Name>")]
    order: Option<OrderName>,
    /// May it print? Only of printers.
    print: Option<DecisionView>,
    run: Run,
    state: Option<StateView>,
    /// The stencil in it.
    #[schemars(with = "Option<Name>")]
    stencil: Option<StencilCode>,
    /// True while what it says is heard and has no effect.
    trial: bool,
    /// Strokes it made that nobody can attribute yet.
    unattributed_strokes: u64,
    why_down: Option<String>,
    wipes: u64,
    written_off_strokes: u64,
}

/// What a machine does, and its own word for it.
#[derive(Serialize, JsonSchema)]
struct StateView {
    #[schemars(with = "MachineStateWord")]
    state: MachineState,
    word: String,
}

/// It is being mended: its alarms are suppressed.
#[derive(Serialize, JsonSchema)]
struct Maintenance {
    by: String,
    why: String,
    #[schemars(with = "Moment")]
    since: Timestamp,
    #[schemars(with = "EventNumber")]
    because: Position,
}

/// What each basis says of the run the machine is at.
#[derive(Serialize, JsonSchema)]
struct Run {
    #[schemars(with = "Moment")]
    since: Timestamp,
    /// Strokes by basis: `counter`, `reported`, `pulses`, `order` or `hand`.
    #[schemars(with = "BTreeMap<String, u64>")]
    strokes: BTreeMap<BasisKind, u64>,
    boards: u64,
    /// Stencils that were in it.
    #[schemars(with = "Vec<Name>")]
    stencils: BTreeSet<StencilCode>,
}

impl Run {
    fn of(run: &run::Run) -> Self {
        Self {
            since: run.since,
            strokes: run.strokes.clone(),
            boards: run.boards,
            stencils: run.stencils.clone(),
        }
    }
}

/// One machine as it is now.
pub(crate) fn view(site: &Site, name: &MachineName, now: Timestamp) -> MachineView {
    let plant = site.plant();
    let unheard = Machine::default();
    let machine = site.state().machines.get(name).unwrap_or(&unheard);
    let print = (plant.kind(name) == MachineKind::Printer)
        .then(|| DecisionView::from(&site.print_decision(name, now)));
    let counters = machine.counters.iter();
    let maintenance = site.state().alarms.maintenance.get(name);
    MachineView {
        machine: name.clone(),
        kind: plant.kind(name).as_str(),
        line: plant.machines.get(name).and_then(|spec| spec.line.clone()),
        trial: plant.on_trial(name),
        link: machine.link.as_str(),
        why_down: machine.link.why_down().map(str::to_owned),
        state: machine
            .state
            .as_ref()
            .map(|(state, word)| StateView { state: *state, word: word.clone() }),
        faults: machine.faults.clone(),
        maintenance: maintenance.map(|begun| Maintenance {
            by: begun.by.clone(),
            why: begun.why.clone(),
            since: begun.since,
            because: begun.because,
        }),
        stencil: machine.seat.as_ref().map(|seat| seat.code.clone()),
        order: machine.order.as_ref().map(|order| order.order.clone()),
        booked_strokes: machine.booked,
        unattributed_strokes: machine.unattributed,
        written_off_strokes: machine.written_off,
        wipes: machine.wipes,
        run: Run::of(&machine.run),
        counters: counters.map(|(name, counter)| (name.to_string(), counter.known.raw)).collect(),
        print,
    }
}

/// Machines, by their names.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Machines {
    machines: Vec<MachineView>,
    /// Where the list goes on.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(with = "String")]
    next: Option<String>,
}

/// `GET /api/v1/machines`.
pub(crate) async fn machines(
    State(surface): State<Surface>,
    paging: Result<Query<Paging>, QueryRejection>,
) -> Result<Paged<Machines>, Problem> {
    let paging = Paging::of(paging)?;
    let paged = surface.site.look(move |site, now| {
        let names = site.plant().machines.keys();
        let names = names.map(|name| (name.as_str().to_owned(), name));
        page(names, &paging, "/api/v1/machines", |name| view(site, name, now))
    });
    let (machines, next) = paged.await?;
    Ok(Paged::new(next.clone(), Machines { machines, next }))
}

/// `GET /api/v1/machines/{name}`.
pub(crate) async fn machine(
    State(surface): State<Surface>,
    Path(name): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let missing = || Problem::not_found("machine", &name);
    let wanted = MachineName::new(&name).map_err(|_| missing())?;
    let found = surface.site.look(move |site, now| {
        site.plant().machines.contains_key(&wanted).then(|| view(site, &wanted, now))
    });
    version::answer(&headers, &found.await?.ok_or_else(missing)?)
}
