//! What people do to a stencil or at a machine, one POST each.

use axum::Json;
use axum::extract::rejection::JsonRejection;
use axum::extract::{Path, State};
use axum::http::StatusCode;
use serde_json::{Value, json};
use stencilward_domain::names::{MachineName, OrderName, SlotName, StencilCode};
use stencilward_domain::signal::WashOutcome;
use stencilward_domain::site::{Reply, Request};

use crate::Surface;
use crate::door::Who;
use crate::problem::Problem;
use crate::said::{Said, bad, name};
use crate::views::decision_view;

/// `POST /api/v1/stencils/{code}/{action}`.
pub(crate) async fn on_stencil(
    State(surface): State<Surface>,
    Path((code, action)): Path<(String, String)>,
    who: Who,
    said: Result<Json<Said>, JsonRejection>,
) -> Result<Json<Value>, Problem> {
    let Json(said) = said.map_err(|rejection| bad(rejection.body_text()))?;
    let said = said.by_who_signed_in(&who);
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
        "strokes" => Request::Enter {
            stencil,
            machine: said.machine()?,
            strokes: said.strokes()?,
            by: said.by()?,
            why: said.why()?,
        },
        "hold" => Request::Hold { stencil, by: said.by()?, why: said.why()? },
        "release" => Request::Release { stencil, by: said.by()?, why: said.why()? },
        "concession" => Request::Grant {
            stencil,
            strokes: said.strokes()?,
            until: said.until,
            by: said.by()?,
            why: said.why()?,
        },
        "withdraw" => Request::Withdraw { stencil, by: said.by()?, why: said.why()? },
        "retire" => Request::Retire { stencil, by: said.by()?, why: said.why()? },
        _ => {
            let known = "store, take, wash, strokes, hold, release, concession, withdraw, retire";
            return Err(no_action(&action, known));
        }
    };
    carry_out(&surface, request).await
}

/// `POST /api/v1/machines/{name}/{action}`.
pub(crate) async fn on_machine(
    State(surface): State<Surface>,
    Path((machine, action)): Path<(String, String)>,
    who: Who,
    said: Result<Json<Said>, JsonRejection>,
) -> Result<Json<Value>, Problem> {
    let Json(said) = said.map_err(|rejection| bad(rejection.body_text()))?;
    let said = said.by_who_signed_in(&who);
    let machine = MachineName::new(&machine).map_err(|error| bad(format!("machine: {error}")))?;
    let request = match action.as_str() {
        "seat" => Request::Seat { stencil: said.stencil()?, machine, by: said.by()? },
        "remove" => Request::Remove { machine, by: said.by()? },
        "start" => Request::StartOrder { machine, order: said.order()?, by: said.by()? },
        "finish" => {
            let (order, made) = (said.order()?, said.made);
            Request::FinishOrder { machine, order, made, by: said.by()? }
        }
        "begin-maintenance" => {
            Request::BeginMaintenance { machine, by: said.by()?, why: said.why()? }
        }
        "end-maintenance" => Request::EndMaintenance { machine, by: said.by()? },
        _ => {
            let known = "seat, remove, start, finish, begin-maintenance, end-maintenance";
            return Err(no_action(&action, known));
        }
    };
    carry_out(&surface, request).await
}

fn no_action(action: &str, known: &str) -> Problem {
    Problem::new(StatusCode::NOT_FOUND, format!("there is no action {action}; there are {known}"))
}

async fn carry_out(surface: &Surface, request: Request) -> Result<Json<Value>, Problem> {
    answer(surface.site.ask(request).await?)
}

/// A reply as an answer.
pub(crate) fn answer(reply: Reply) -> Result<Json<Value>, Problem> {
    match reply {
        Reply::Decision(decision) => Ok(Json(decision_view(&decision))),
        Reply::Done(position) => Ok(Json(json!({ "done": true, "event": position }))),
        Reply::Refused(why) => Err(Problem::new(StatusCode::CONFLICT, why)),
        // Those who see to alarms answer by themselves.
        Reply::Alarms { event, .. } => Ok(Json(json!({ "done": true, "event": event }))),
    }
}
