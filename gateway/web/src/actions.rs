//! What people do, one POST each.

use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use serde::Deserialize;
use serde_json::{Value, json};
use stencilward_domain::names::{BadName, MachineName, OrderName, SlotName, StencilCode};
use stencilward_domain::signal::WashOutcome;
use stencilward_domain::site::{Reply, Request};
use stencilward_domain::time::Timestamp;

use crate::Surface;
use crate::problem::Problem;
use crate::views::decision_view;

/// Longest free text, in characters.
const LONGEST_TEXT: usize = 500;

/// What an action may say; each action needs its own part of it.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Said {
    by: Option<String>,
    why: Option<String>,
    strokes: Option<u64>,
    /// Milliseconds since 1970.
    until: Option<Timestamp>,
    rack: Option<String>,
    slot: Option<String>,
    order: Option<String>,
    stencil: Option<String>,
    outcome: Option<WashOutcome>,
}

impl Said {
    fn by(&self) -> Result<String, Problem> {
        needed("by", "who does this", self.by.as_deref())
    }

    fn by_if_said(&self) -> Result<Option<String>, Problem> {
        self.by.is_some().then(|| self.by()).transpose()
    }

    fn why(&self) -> Result<String, Problem> {
        needed("why", "the reason, in words", self.why.as_deref())
    }
}

fn bad(detail: impl Into<String>) -> Problem {
    Problem::new(StatusCode::BAD_REQUEST, detail)
}

fn needed(key: &str, meaning: &str, text: Option<&str>) -> Result<String, Problem> {
    match text.map(str::trim) {
        None | Some("") => Err(bad(format!("{key} is missing: {meaning}"))),
        Some(text) if text.chars().count() > LONGEST_TEXT => {
            Err(bad(format!("{key} is longer than {LONGEST_TEXT} characters")))
        }
        Some(text) => Ok(text.to_owned()),
    }
}

fn name<T>(
    key: &str,
    text: Option<&String>,
    new: fn(&str) -> Result<T, BadName>,
) -> Result<Option<T>, Problem> {
    text.map(|text| new(text).map_err(|error| bad(format!("{key}: {error}")))).transpose()
}

/// `POST /api/v1/stencils/{code}/{action}`.
pub(crate) async fn on_stencil(
    State(surface): State<Surface>,
    Path((code, action)): Path<(String, String)>,
    said: Result<Json<Said>, JsonRejection>,
) -> Result<Json<Value>, Problem> {
    let Json(said) = said.map_err(|rejection| bad(rejection.body_text()))?;
    let stencil = StencilCode::new(&code).map_err(|error| bad(format!("stencil: {error}")))?;
    let request = match action.as_str() {
        "store" => Request::Store {
            stencil,
            rack: name("rack", said.rack.as_ref(), MachineName::new)?,
            slot: name("slot", said.slot.as_ref(), SlotName::new)?,
            by: said.by_if_said()?,
        },
        "take" => Request::Take {
            stencil,
            rack: name("rack", said.rack.as_ref(), MachineName::new)?,
            order: name("order", said.order.as_ref(), OrderName::new)?,
            by: said.by_if_said()?,
        },
        "wash" => {
            let outcome = said.outcome.unwrap_or(WashOutcome::Passed);
            Request::ReportWash { stencil, outcome, by: said.by()? }
        }
        "hold" => Request::Hold { stencil, by: said.by()?, why: said.why()? },
        "release" => Request::Release { stencil, by: said.by()?, why: said.why()? },
        "concession" => Request::Grant {
            stencil,
            strokes: said.strokes.ok_or_else(|| bad("strokes is missing: how many are allowed"))?,
            until: said.until,
            by: said.by()?,
            why: said.why()?,
        },
        "withdraw" => Request::Withdraw { stencil, by: said.by()?, why: said.why()? },
        "retire" => Request::Retire { stencil, by: said.by()?, why: said.why()? },
        _ => {
            return Err(Problem::new(
                StatusCode::NOT_FOUND,
                format!(
                    "there is no action {action}; there are store, take, wash, hold, release, \
                     concession, withdraw, retire"
                ),
            ));
        }
    };
    carry_out(&surface, request).await
}

/// `POST /api/v1/machines/{name}/{action}`.
pub(crate) async fn on_machine(
    State(surface): State<Surface>,
    Path((machine, action)): Path<(String, String)>,
    said: Result<Json<Said>, JsonRejection>,
) -> Result<Json<Value>, Problem> {
    let Json(said) = said.map_err(|rejection| bad(rejection.body_text()))?;
    let machine = MachineName::new(&machine).map_err(|error| bad(format!("machine: {error}")))?;
    let request = match action.as_str() {
        "seat" => {
            let stencil = name("stencil", said.stencil.as_ref(), StencilCode::new)?
                .ok_or_else(|| bad("stencil is missing: the code that was scanned"))?;
            Request::Seat { stencil, machine, by: said.by()? }
        }
        "remove" => Request::Remove { machine, by: said.by()? },
        _ => {
            return Err(Problem::new(
                StatusCode::NOT_FOUND,
                format!("there is no action {action}; there are seat and remove"),
            ));
        }
    };
    carry_out(&surface, request).await
}

async fn carry_out(surface: &Surface, request: Request) -> Result<Json<Value>, Problem> {
    match surface.site.ask(request).await? {
        Reply::Decision(decision) => Ok(Json(decision_view(&decision))),
        Reply::Done(position) => Ok(Json(json!({ "done": true, "event": position }))),
        Reply::Refused(why) => Err(Problem::new(StatusCode::CONFLICT, why)),
    }
}
