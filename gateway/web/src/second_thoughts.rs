//! Strokes that nobody could attribute, and corrections of what was booked.

use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use serde::Deserialize;
use serde_json::{Value, json};
use stencilward_domain::event::Position;
use stencilward_domain::names::StencilCode;
use stencilward_domain::site::{Correction, Request, Share, Wrong};
use stencilward_domain::state::Unattributed;

use crate::Surface;
use crate::actions::answer;
use crate::door::Who;
use crate::problem::Problem;
use crate::said::{bad, by, why};

/// Strokes of one stencil, as written.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
struct Part {
    stencil: StencilCode,
    strokes: u64,
}

/// Whose strokes they are.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Assignment {
    #[serde(default)]
    shares: Vec<Part>,
    #[serde(default)]
    write_off: u64,
    by: Option<String>,
    why: Option<String>,
}

/// What was wrong with an event.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Corrected {
    shares: Option<Vec<Part>>,
    #[serde(default)]
    wash: bool,
    by: Option<String>,
    why: Option<String>,
}

fn shares(parts: Vec<Part>) -> Vec<Share> {
    parts.into_iter().map(|part| (part.stencil, part.strokes)).collect()
}

fn position(event: &str) -> Result<Position, Problem> {
    let number = event.parse().map_err(|_| {
        let detail = format!("{event:?} is no event: name it by its number in the ledger");
        Problem::new(StatusCode::NOT_FOUND, detail)
    });
    number.map(Position)
}

/// `GET /api/v1/unattributed`.
pub(crate) async fn unattributed(State(surface): State<Surface>) -> Result<Json<Value>, Problem> {
    let view = surface.site.look(|site, _| {
        let open = &site.state().unattributed;
        let strokes = open.values().fold(0_u64, |sum, open| sum.saturating_add(open.left));
        let list: Vec<Value> = open.iter().map(|(event, open)| open_view(*event, open)).collect();
        json!({ "strokes": strokes, "unattributed": list })
    });
    Ok(Json(view.await?))
}

fn open_view(event: Position, open: &Unattributed) -> Value {
    json!({
        "event": event,
        "machine": open.machine,
        "left": open.left,
        "since": open.since,
        "until": open.until,
        "candidates": open.candidates,
        "why": open.why,
        "in_words": open.why.in_words(),
    })
}

/// `POST /api/v1/unattributed/{event}/assign`.
pub(crate) async fn assign(
    State(surface): State<Surface>,
    Path(event): Path<String>,
    who: Who,
    said: Result<Json<Assignment>, JsonRejection>,
) -> Result<Json<Value>, Problem> {
    let Json(said) = said.map_err(|rejection| bad(rejection.body_text()))?;
    let request = Request::Assign {
        of: position(&event)?,
        by: by(who.or_claimed(said.by).as_deref())?,
        why: why(said.why.as_deref())?,
        shares: shares(said.shares),
        write_off: said.write_off,
    };
    answer(surface.site.ask(request).await?)
}

/// `POST /api/v1/events/{event}/correct`.
pub(crate) async fn correct(
    State(surface): State<Surface>,
    Path(event): Path<String>,
    who: Who,
    said: Result<Json<Corrected>, JsonRejection>,
) -> Result<Json<Value>, Problem> {
    let Json(said) = said.map_err(|rejection| bad(rejection.body_text()))?;
    let what = match (said.shares, said.wash) {
        (Some(parts), false) => Wrong::Strokes(shares(parts)),
        (None, true) => Wrong::Wash,
        _ => {
            return Err(bad(
                "say what was wrong: shares, whose strokes they are, or wash: true, if it was no \
                 wash",
            ));
        }
    };
    let correction = Correction {
        what,
        by: by(who.or_claimed(said.by).as_deref())?,
        why: why(said.why.as_deref())?,
    };
    answer(surface.site.correct(position(&event)?, correction).await?)
}
