//! The state of stencils and machines as JSON.

use axum::Json;
use axum::extract::{Path, State};
use serde_json::{Value, json};
use stencilward_domain::decision::{Decision, told};
use stencilward_domain::machine::Machine;
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::place::Place;
use stencilward_domain::plant::MachineKind;
use stencilward_domain::run::Run;
use stencilward_domain::site::Site;
use stencilward_domain::stencil::Stencil;
use stencilward_domain::time::Timestamp;

use crate::Surface;
use crate::problem::Problem;

/// Every stencil in short.
pub(crate) async fn stencils(State(surface): State<Surface>) -> Result<Json<Value>, Problem> {
    let list = surface
        .site
        .look(|site, now| {
            let all = site.state().stencils.values();
            all.map(|stencil| brief(stencil, now)).collect::<Vec<_>>()
        })
        .await?;
    Ok(Json(json!({ "stencils": list })))
}

/// One stencil with what it may be used for, and why not.
pub(crate) async fn stencil(
    State(surface): State<Surface>,
    Path(code): Path<String>,
) -> Result<Json<Value>, Problem> {
    let missing = || Problem::not_found("stencil", &code);
    let wanted = StencilCode::new(&code).map_err(|_| missing())?;
    let found = surface.site.look(move |site, now| whole(site, &wanted, now)).await?;
    found.map(Json).ok_or_else(missing)
}

/// Every machine.
pub(crate) async fn machines(State(surface): State<Surface>) -> Result<Json<Value>, Problem> {
    let list = surface
        .site
        .look(|site, now| {
            let names = site.plant().machines.keys();
            names.map(|name| machine_view(site, name, now)).collect::<Vec<_>>()
        })
        .await?;
    Ok(Json(json!({ "machines": list })))
}

/// One machine.
pub(crate) async fn machine(
    State(surface): State<Surface>,
    Path(name): Path<String>,
) -> Result<Json<Value>, Problem> {
    let missing = || Problem::not_found("machine", &name);
    let wanted = MachineName::new(&name).map_err(|_| missing())?;
    let found = surface
        .site
        .look(move |site, now| {
            site.plant().machines.contains_key(&wanted).then(|| machine_view(site, &wanted, now))
        })
        .await?;
    found.map(Json).ok_or_else(missing)
}

fn brief(stencil: &Stencil, now: Timestamp) -> Value {
    json!({
        "stencil": stencil.spec.stencil,
        "product": stencil.spec.product,
        "side": stencil.spec.side,
        "revision": stencil.spec.revision,
        "place": stencil.place.value,
        "cleanliness": stencil.cleanliness.value.as_str(),
        "standing": stencil.standing(now).as_str(),
        "wear_band": stencil.band.value.as_str(),
        "life_ratio": stencil.life_ratio(),
        "strokes": stencil.strokes,
        "rated_strokes": stencil.spec.rated_strokes,
        "strokes_since_wash": stencil.strokes_since_wash,
        "washes": stencil.washes,
        "wipes": stencil.wipes,
        "price": stencil.spec.price_centi.map(hundredths),
        "lead_days": stencil.spec.lead_days,
    })
}

/// The number of so many hundredths.
#[allow(clippy::cast_precision_loss)]
fn hundredths(count: u64) -> f64 {
    count as f64 / 100.0
}

fn whole(site: &Site, code: &StencilCode, now: Timestamp) -> Option<Value> {
    let stencil = site.state().stencils.get(code)?;
    let case = site.case(now);
    let printer = match &stencil.place.value {
        Place::Printer { machine } => Some(site.print_decision(machine, now)),
        _ => None,
    };
    let rack = match &stencil.place.value {
        Place::Slot { rack, .. } => Some(rack),
        _ => None,
    };
    let mut view = brief(stencil, now);
    if let Value::Object(fields) = &mut view {
        fields.insert(
            "because".to_owned(),
            json!({
                "place": stencil.place.because,
                "cleanliness": stencil.cleanliness.because,
                "wear_band": stencil.band.because,
            }),
        );
        fields.insert(
            "hold".to_owned(),
            json!(stencil.hold.as_ref().map(|hold| json!({
                "why": hold.value.why, "by": hold.value.by, "because": hold.because,
            }))),
        );
        fields.insert(
            "concession".to_owned(),
            json!(stencil.concession.as_ref().map(|c| json!({
                "strokes": c.value.strokes, "used": c.value.used, "until": c.value.until,
                "why": c.value.why, "by": c.value.by, "because": c.because,
            }))),
        );
        fields.insert(
            "doubted".to_owned(),
            json!(stencil.doubted.as_ref().map(|doubted| json!({
                "rule": doubted.value.rule, "machine": doubted.value.machine,
                "decision": doubted.value.decision, "late": doubted.value.late,
                "reasons": told(&doubted.value.reasons), "because": doubted.because,
            }))),
        );
        let may = json!({
            "store": decision_view(&case.store(code, None, None)),
            "take": decision_view(&case.take(code, rack, None)),
            "print": printer.as_ref().map(decision_view),
        });
        fields.insert("may".to_owned(), may);
    }
    Some(view)
}

/// A decision with each reason's code, sentence and event.
pub(crate) fn decision_view(decision: &Decision) -> Value {
    json!({
        "rule": decision.rule,
        "stencil": decision.stencil,
        "machine": decision.machine,
        "slot": decision.slot,
        "permitted": decision.permitted(),
        "reasons": decision.told_reasons(),
    })
}

fn machine_view(site: &Site, name: &MachineName, now: Timestamp) -> Value {
    let plant = site.plant();
    let unheard = Machine::default();
    let machine = site.state().machines.get(name).unwrap_or(&unheard);
    let print = (plant.kind(name) == MachineKind::Printer)
        .then(|| decision_view(&site.print_decision(name, now)));
    json!({
        "machine": name,
        "kind": plant.kind(name).as_str(),
        "line": plant.machines.get(name).and_then(|spec| spec.line.as_ref()),
        "trial": plant.on_trial(name),
        "link": machine.link.as_str(),
        "why_down": machine.link.why_down(),
        "state": machine.state.as_ref().map(|(state, word)| json!({ "state": state, "word": word })),
        "faults": machine.faults,
        "maintenance": site.state().alarms.maintenance.get(name).map(|begun| json!({
            "by": begun.by, "why": begun.why, "since": begun.since, "because": begun.because,
        })),
        "stencil": machine.seat.as_ref().map(|seat| &seat.code),
        "order": machine.order.as_ref().map(|order| &order.order),
        "booked_strokes": machine.booked,
        "unattributed_strokes": machine.unattributed,
        "written_off_strokes": machine.written_off,
        "wipes": machine.wipes,
        "run": run_view(&machine.run),
        "counters": machine.counters.iter()
            .map(|(name, counter)| (name.to_string(), json!(counter.known.raw)))
            .collect::<serde_json::Map<_, _>>(),
        "print": print,
    })
}

/// What each basis says of the run the machine is at.
fn run_view(run: &Run) -> Value {
    let strokes =
        run.strokes.iter().map(|(basis, count)| (basis.as_str().to_owned(), json!(count)));
    json!({
        "since": run.since,
        "strokes": strokes.collect::<serde_json::Map<_, _>>(),
        "boards": run.boards,
        "stencils": run.stencils,
    })
}
