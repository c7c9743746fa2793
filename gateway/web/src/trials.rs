//! Machines on trial: what they say, and how far they count as a person does.

use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use serde::Deserialize;
use serde_json::{Map, Value, json};
use stencilward_domain::names::MachineName;
use stencilward_domain::plant::Counted;
use stencilward_domain::site::{Mark, Site, Trial, Tried};

use crate::Surface;
use crate::problem::Problem;
use crate::said::bad;

/// What a person counted.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct ByHand {
    strokes: u64,
    /// The mark from which; without it, since the trial began.
    since: Option<Mark>,
}

/// `GET /api/v1/machines/{name}/trial`.
pub(crate) async fn trial(
    State(surface): State<Surface>,
    Path(name): Path<String>,
) -> Result<Json<Value>, Problem> {
    with_trial(&surface, &name, |trial| Ok(view(trial))).await
}

/// `POST /api/v1/machines/{name}/trial/compare`.
pub(crate) async fn compare(
    State(surface): State<Surface>,
    Path(name): Path<String>,
    by_hand: Result<Json<ByHand>, JsonRejection>,
) -> Result<Json<Value>, Problem> {
    let Json(by_hand) = by_hand.map_err(|rejection| bad(rejection.body_text()))?;
    with_trial(&surface, &name, move |trial| {
        let trial = trial.ok_or("it has said nothing yet: see that its link is up")?;
        let compared = trial.compare(by_hand.strokes, by_hand.since.as_ref())?;
        Ok(json!({ "compared": compared, "mark": trial.mark() }))
    })
    .await
}

/// Looks at what a machine on trial has said, if it has said anything.
async fn with_trial<F>(surface: &Surface, name: &str, look: F) -> Result<Json<Value>, Problem>
where
    F: FnOnce(Option<&Trial>) -> Result<Value, String> + Send + 'static,
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

fn view(trial: Option<&Trial>) -> Value {
    let Some(trial) = trial else {
        return json!({ "since": null, "heard": [], "counters": {} });
    };
    let heard = trial.heard.iter().map(|((kind, about), heard)| {
        json!({
            "signal": kind,
            "about": (!about.is_empty()).then_some(about),
            "last": heard.last,
            "at": heard.at,
            "machine_time": heard.machine_time,
            "count": heard.count,
        })
    });
    let counters: Map<String, Value> =
        trial.counters.iter().map(|(name, tried)| (name.clone(), tried_view(tried))).collect();
    json!({
        "since": trial.since,
        "heard": heard.collect::<Vec<_>>(),
        "left_out": trial.left_out,
        "counters": counters,
        "strokes_reported": trial.reported,
        "mark": trial.mark(),
    })
}

fn tried_view(tried: &Tried) -> Value {
    json!({
        "counts": match tried.counts {
            Counted::Strokes => "strokes",
            Counted::Wipes => "wipes",
        },
        "first": tried.first,
        "raw": tried.raw,
        "counted": tried.counted,
        "doubted": tried.doubted,
        "restarts": tried.restarts,
    })
}
