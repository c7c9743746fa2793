//! Stencils as JSON: in short, and one with what it may be used for and why not.

use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::http::HeaderMap;
use axum::response::Response;
use schemars::JsonSchema;
use serde::Serialize;
use stencilward_domain::decision::{Rule, told};
use stencilward_domain::event::Position;
use stencilward_domain::names::{MachineName, ProductName, StencilCode};
use stencilward_domain::place::Place;
use stencilward_domain::signal::Side;
use stencilward_domain::site::Site;
use stencilward_domain::stencil::{Sourced, Stencil};
use stencilward_domain::time::Timestamp;

use super::{DecisionView, ReasonView};
use crate::Surface;
use crate::contract::shapes::{
    CleanlinessWord, EventNumber, Moment, Name, PlaceShape, RuleWord, SideWord, StandingWord,
    WearBandWord,
};
use crate::paging::{Paged, Paging, page};
use crate::problem::Problem;
use crate::version;

/// A stencil in short.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Brief {
    #[schemars(with = "CleanlinessWord")]
    cleanliness: &'static str,
    /// Days until its supplier delivers another one.
    lead_days: Option<u32>,
    /// The share of its rated life that is used, by strokes or washes.
    life_ratio: f64,
    #[schemars(with = "PlaceShape")]
    place: Place,
    /// In the plant's currency.
    price: Option<f64>,
    #[schemars(with = "Option<Name>")]
    product: Option<ProductName>,
    rated_strokes: u64,
    revision: Option<String>,
    #[schemars(with = "Option<SideWord>")]
    side: Option<Side>,
    #[schemars(with = "StandingWord")]
    standing: &'static str,
    /// The code on its frame.
    #[schemars(with = "Name")]
    stencil: StencilCode,
    strokes: u64,
    strokes_since_wash: u64,
    washes: u64,
    #[schemars(with = "WearBandWord")]
    wear_band: &'static str,
    /// Understencil wipes.
    wipes: u64,
}

impl Brief {
    fn of(stencil: &Stencil, now: Timestamp) -> Self {
        let spec = &stencil.spec;
        Self {
            stencil: spec.stencil.clone(),
            product: spec.product.clone(),
            side: spec.side,
            revision: spec.revision.clone(),
            place: stencil.place.value.clone(),
            cleanliness: stencil.cleanliness.value.as_str(),
            standing: stencil.standing(now).as_str(),
            wear_band: stencil.band.value.as_str(),
            life_ratio: stencil.life_ratio(),
            strokes: stencil.strokes,
            rated_strokes: spec.rated_strokes,
            strokes_since_wash: stencil.strokes_since_wash,
            washes: stencil.washes,
            wipes: stencil.wipes,
            price: spec.price_centi.map(hundredths),
            lead_days: spec.lead_days,
        }
    }
}

/// The number of so many hundredths.
#[allow(clippy::cast_precision_loss)]
fn hundredths(count: u64) -> f64 {
    count as f64 / 100.0
}

/// One stencil with what it may be used for, and why not.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Whole {
    #[serde(flatten)]
    brief: Brief,
    because: Because,
    concession: Option<InForce>,
    /// The last decision that a late message put in doubt.
    doubted: Option<Doubted>,
    hold: Option<HeldBack>,
    may: May,
}

/// The events that made it so.
#[derive(Serialize, JsonSchema)]
struct Because {
    #[schemars(with = "EventNumber")]
    place: Position,
    #[schemars(with = "EventNumber")]
    cleanliness: Position,
    #[schemars(with = "EventNumber")]
    wear_band: Position,
}

/// Not to be used until a person releases it.
#[derive(Serialize, JsonSchema)]
struct HeldBack {
    why: String,
    by: String,
    #[schemars(with = "EventNumber")]
    because: Position,
}

/// Leave to use a worn stencil.
#[derive(Serialize, JsonSchema)]
struct InForce {
    /// Strokes allowed.
    strokes: u64,
    /// Strokes made under it.
    used: u64,
    #[schemars(with = "Option<Moment>")]
    until: Option<Timestamp>,
    why: String,
    by: String,
    #[schemars(with = "EventNumber")]
    because: Position,
}

/// A decision that would have been refused, had a late message come in time.
#[derive(Serialize, JsonSchema)]
struct Doubted {
    #[schemars(with = "RuleWord")]
    rule: Rule,
    #[schemars(with = "Option<Name>")]
    machine: Option<MachineName>,
    /// The decision.
    #[schemars(with = "EventNumber")]
    decision: Position,
    /// What came late.
    #[schemars(with = "EventNumber")]
    late: Position,
    reasons: Vec<ReasonView>,
    #[schemars(with = "EventNumber")]
    because: Position,
}

/// What it may be used for now.
#[derive(Serialize, JsonSchema)]
struct May {
    store: DecisionView,
    take: DecisionView,
    /// Only of a stencil that is in a printer.
    print: Option<DecisionView>,
}

/// One stencil as it is now.
pub(crate) fn whole(site: &Site, code: &StencilCode, now: Timestamp) -> Option<Whole> {
    let stencil = site.state().stencils.get(code)?;
    let case = site.case(now);
    let print = match &stencil.place.value {
        Place::Printer { machine } => Some(site.print_decision(machine, now)),
        _ => None,
    };
    let rack = match &stencil.place.value {
        Place::Slot { rack, .. } => Some(rack),
        _ => None,
    };
    let because = Because {
        place: stencil.place.because,
        cleanliness: stencil.cleanliness.because,
        wear_band: stencil.band.because,
    };
    let may = May {
        store: (&case.store(code, None, None)).into(),
        take: (&case.take(code, rack, None)).into(),
        print: print.as_ref().map(DecisionView::from),
    };
    Some(Whole {
        brief: Brief::of(stencil, now),
        because,
        hold: stencil.hold.as_ref().map(|Sourced { value, because, .. }| HeldBack {
            why: value.why.clone(),
            by: value.by.clone(),
            because: *because,
        }),
        concession: stencil.concession.as_ref().map(|Sourced { value, because, .. }| InForce {
            strokes: value.strokes,
            used: value.used,
            until: value.until,
            why: value.why.clone(),
            by: value.by.clone(),
            because: *because,
        }),
        doubted: stencil.doubted.as_ref().map(|Sourced { value, because, .. }| Doubted {
            rule: value.rule,
            machine: value.machine.clone(),
            decision: value.decision,
            late: value.late,
            reasons: told(&value.reasons).into_iter().map(ReasonView::from).collect(),
            because: *because,
        }),
        may,
    })
}

/// Stencils in short, by their codes.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Stencils {
    stencils: Vec<Brief>,
    /// Where the list goes on.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(with = "String")]
    next: Option<String>,
}

/// `GET /api/v1/stencils`.
pub(crate) async fn stencils(
    State(surface): State<Surface>,
    paging: Result<Query<Paging>, QueryRejection>,
) -> Result<Paged<Stencils>, Problem> {
    let paging = Paging::of(paging)?;
    let paged = surface.site.look(move |site, now| {
        let all = site.state().stencils.iter();
        let all = all.map(|(code, stencil)| (code.as_str().to_owned(), stencil));
        page(all, &paging, "/api/v1/stencils", |stencil| Brief::of(stencil, now))
    });
    let (stencils, next) = paged.await?;
    Ok(Paged::new(next.clone(), Stencils { stencils, next }))
}

/// `GET /api/v1/stencils/{code}`.
pub(crate) async fn stencil(
    State(surface): State<Surface>,
    Path(code): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let missing = || Problem::not_found("stencil", &code);
    let wanted = StencilCode::new(&code).map_err(|_| missing())?;
    let found = surface.site.look(move |site, now| whole(site, &wanted, now)).await?;
    version::answer(&headers, &found.ok_or_else(missing)?)
}
