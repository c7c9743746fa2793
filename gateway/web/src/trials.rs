//! Machines on trial: what they say, and how far they count as a person does.

use std::collections::BTreeMap;

use axum::Json;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_domain::names::MachineName;
use stencilward_domain::plant::Counted;
use stencilward_domain::signal::Said;
use stencilward_domain::site::{Compared, Mark, Site, Trial, Tried};
use stencilward_domain::time::Timestamp;

use crate::Surface;
use crate::contract::shapes::{Count, Moment, SignalShape};
use crate::problem::Problem;
use crate::said::{Body, EXACT, count};

/// What a person counted.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct ByHand {
    #[schemars(with = "Count")]
    strokes: Option<u64>,
    /// The mark from which; without it, since the trial began.
    #[schemars(with = "Option<MarkShape>")]
    since: Option<Mark>,
}

/// Where the counters of a machine on trial stood at a moment.
#[derive(JsonSchema)]
#[allow(dead_code)] // Only its shape is wanted.
#[serde(rename = "Mark", deny_unknown_fields)]
struct MarkShape {
    /// When its trial had begun.
    #[schemars(with = "Moment")]
    trial: i64,
    /// Strokes it had told of as they were done.
    #[schemars(range(max = EXACT))]
    reported: u64,
    /// How its counters stood.
    counters: BTreeMap<String, CountsShape>,
}

/// How a counter stood.
#[derive(JsonSchema)]
#[allow(dead_code)] // Only its shape is wanted.
#[serde(rename = "Counts", deny_unknown_fields)]
struct CountsShape {
    #[schemars(range(max = EXACT))]
    moved: u64,
    #[schemars(range(max = EXACT))]
    counted: u64,
    #[schemars(range(max = EXACT))]
    doubted: u64,
}

/// What a machine on trial has said.
#[derive(Serialize, JsonSchema)]
pub(crate) struct TrialView {
    counters: BTreeMap<String, TriedView>,
    /// The last word of each thing it says.
    heard: Vec<HeardView>,
    /// Signals that were not kept, because it tells of too many different things.
    left_out: u64,
    /// To compare from here on.
    #[schemars(with = "Option<MarkShape>")]
    mark: Option<Mark>,
    /// When it was heard first; none while it has said nothing.
    #[schemars(with = "Option<Moment>")]
    since: Option<Timestamp>,
    strokes_reported: u64,
}

/// One thing that a machine on trial says.
#[derive(Serialize, JsonSchema)]
struct HeardView {
    about: Option<String>,
    #[schemars(with = "Moment")]
    at: Timestamp,
    /// How often it was said.
    count: u64,
    /// What it said last.
    #[schemars(with = "SignalShape")]
    last: Said,
    #[schemars(with = "Option<i64>")]
    machine_time: Option<Timestamp>,
    signal: &'static str,
}

/// A counter of a machine on trial.
#[derive(Serialize, JsonSchema)]
struct TriedView {
    /// What would have been counted.
    counted: u64,
    /// `strokes` or `wipes`.
    counts: &'static str,
    /// Reads that jumped further than the printer can work.
    doubted: u64,
    first: u64,
    /// Its last value.
    raw: u64,
    restarts: u64,
}

/// The machine beside the person.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Comparison {
    compared: Vec<ComparedView>,
    #[schemars(with = "MarkShape")]
    mark: Mark,
}

/// One way in which the machine counts, beside the count by hand.
#[derive(Serialize, JsonSchema)]
struct ComparedView {
    agrees: bool,
    by_hand: u64,
    by_machine: u64,
    /// The counter; none for strokes that are told as they are done.
    counter: Option<String>,
    /// The difference in words, with what to check.
    words: String,
}

impl From<Compared> for ComparedView {
    fn from(compared: Compared) -> Self {
        let Compared { counter, by_machine, by_hand, agrees, words } = compared;
        Self { counter, by_machine, by_hand, agrees, words }
    }
}

/// `GET /api/v1/machines/{name}/trial`.
pub(crate) async fn trial(
    State(surface): State<Surface>,
    Path(name): Path<String>,
) -> Result<Json<TrialView>, Problem> {
    with_trial(&surface, &name, |trial| Ok(view(trial))).await
}

/// `POST /api/v1/machines/{name}/trial/compare`.
pub(crate) async fn compare(
    State(surface): State<Surface>,
    Path(name): Path<String>,
    Body(by_hand): Body<ByHand>,
) -> Result<Json<Comparison>, Problem> {
    let strokes = count("strokes", by_hand.strokes)?;
    with_trial(&surface, &name, move |trial| {
        let trial = trial.ok_or("it has said nothing yet: see that its link is up")?;
        let compared = trial.compare(strokes, by_hand.since.as_ref())?;
        let compared = compared.into_iter().map(ComparedView::from).collect();
        Ok(Comparison { compared, mark: trial.mark() })
    })
    .await
}

/// Looks at what a machine on trial has said, if it has said anything.
async fn with_trial<T, F>(surface: &Surface, name: &str, look: F) -> Result<Json<T>, Problem>
where
    T: Send + 'static,
    F: FnOnce(Option<&Trial>) -> Result<T, String> + Send + 'static,
{
    let missing = || Problem::not_found("machine", name);
    let machine = MachineName::new(name).map_err(|_| missing())?;
    let looked = surface.site.look(move |site: &Site, _| {
        site.plant().machines.get(&machine)?;
        Some(if site.plant().on_trial(&machine) {
            look(site.trial(&machine))
        } else {
            Err(format!("{machine} is live: write `trial: true` at it and reload to try it out"))
        })
    });
    let looked = looked.await?.ok_or_else(missing)?;
    looked.map(Json).map_err(|why| Problem::new(StatusCode::CONFLICT, why))
}

fn view(trial: Option<&Trial>) -> TrialView {
    let Some(trial) = trial else {
        return TrialView {
            since: None,
            heard: Vec::new(),
            left_out: 0,
            counters: BTreeMap::new(),
            strokes_reported: 0,
            mark: None,
        };
    };
    let heard = trial.heard.iter().map(|((kind, about), heard)| HeardView {
        signal: kind,
        about: (!about.is_empty()).then(|| about.clone()),
        last: heard.last.clone(),
        at: heard.at,
        machine_time: heard.machine_time,
        count: heard.count,
    });
    let counters = trial.counters.iter();
    TrialView {
        since: Some(trial.since),
        heard: heard.collect(),
        left_out: trial.left_out,
        counters: counters.map(|(name, tried)| (name.clone(), tried_view(tried))).collect(),
        strokes_reported: trial.reported,
        mark: Some(trial.mark()),
    }
}

fn tried_view(tried: &Tried) -> TriedView {
    TriedView {
        counts: match tried.counts {
            Counted::Strokes => "strokes",
            Counted::Wipes => "wipes",
        },
        first: tried.first,
        raw: tried.raw,
        counted: tried.counted,
        doubted: tried.doubted,
        restarts: tried.restarts,
    }
}
