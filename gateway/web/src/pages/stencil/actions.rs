//! What can be done to a stencil: one form each, and what sending it does.

use axum::extract::{Path, State};
use axum::response::Response;
use maud::{Markup, html};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::signal::WashOutcome;
use stencilward_domain::site::{Reply, Request};
use stencilward_domain::stencil::{Standing, Stencil};
use stencilward_domain::time::Timestamp;

use super::{action_path, page, tag_link};
use crate::Surface;
use crate::pages::forms::{Fault, Fields, Given, Sent, WHY, ask, done, folded};
use crate::pages::layout::{missing, path};
use crate::pages::words::Words;

/// The actions that make sense in this standing, the likeliest first.
fn offered(standing: Standing) -> Vec<(&'static str, Fields)> {
    let concession: Fields =
        &[("strokes", "number", true), ("until", "datetime-local", false), ("why", "text", true)];
    let strokes: Fields =
        &[("machine", "text", true), ("strokes", "number", true), ("why", "text", true)];
    let mut offered: Vec<(&'static str, Fields)> = match standing {
        Standing::Retired => return Vec::new(),
        Standing::OnHold => vec![("release", WHY)],
        Standing::Concession => vec![("hold", WHY), ("withdraw", WHY)],
        Standing::Released => vec![("hold", WHY)],
    };
    offered.extend([
        ("wash", &[][..]),
        ("concession", concession),
        ("strokes", strokes),
        ("retire", WHY),
    ]);
    offered
}

/// The forms, folded up; open where one was not taken.
pub(super) fn all(
    words: &Words,
    stencil: &Stencil,
    now: Timestamp,
    sent: Option<&Sent<'_>>,
) -> Markup {
    let code = stencil.spec.stencil.as_str();
    html! {
        section aria-labelledby="do" {
            h2 #do { (words.say("stencil-do")) }
            (folded(words, &offered(stencil.standing(now)), |action| action_path(code, action), sent))
            p.actions { (tag_link(words, code)) }
        }
    }
}

/// `POST /stencils/{code}/{action}`.
pub(crate) async fn act(
    State(surface): State<Surface>,
    words: Words,
    Path((code, action)): Path<(String, String)>,
    given: Given,
) -> Result<Response, Response> {
    let stencil = StencilCode::new(&code).map_err(|_| missing(&words, "stencil", &code))?;
    let fault = match asked(&words, stencil, &action, &given) {
        Err(fault) => fault,
        Ok(request) => match ask(&surface, &words, &given, request).await? {
            Reply::Refused(says) => Fault { field: "", says },
            Reply::Done(event) => {
                return Ok(done(&format!("{}?done={}", path(&["stencils", &code]), event.0)));
            }
            _ => return Ok(done(&path(&["stencils", &code]))),
        },
    };
    let sent = Sent { action: &action, given: &given, fault: &fault };
    page(&surface, &words, &code, None, Some(sent)).await
}

fn asked(
    words: &Words,
    stencil: StencilCode,
    action: &str,
    given: &Given,
) -> Result<Request, Fault> {
    let why = || given.needed(words, "why");
    let by = || given.by(words);
    Ok(match action {
        "hold" => Request::Hold { stencil, why: why()?, by: by()? },
        "release" => Request::Release { stencil, why: why()?, by: by()? },
        "wash" => Request::ReportWash { stencil, outcome: WashOutcome::Passed, by: by()? },
        "withdraw" => Request::Withdraw { stencil, why: why()?, by: by()? },
        "retire" => Request::Retire { stencil, why: why()?, by: by()? },
        "concession" => Request::Grant {
            stencil,
            strokes: given.count(words, "strokes")?,
            until: until(words, given)?,
            why: why()?,
            by: by()?,
        },
        "strokes" => Request::Enter {
            stencil,
            machine: given.name(words, "machine", MachineName::new)?,
            strokes: given.count(words, "strokes")?,
            why: why()?,
            by: by()?,
        },
        _ => return Err(Fault { field: "", says: words.say("no-action") }),
    })
}

fn until(words: &Words, given: &Given) -> Result<Option<Timestamp>, Fault> {
    match given.text("until") {
        "" => Ok(None),
        text => match words.instant(text) {
            Some(until) => Ok(Some(until)),
            None => Err(Fault { field: "until", says: words.say("no-time") }),
        },
    }
}
