//! What people say at a machine: what is in it, which order runs, and that they work on it.

use axum::extract::{Path, State};
use axum::response::Response;
use maud::{Markup, html};
use stencilward_domain::names::{MachineName, OrderName, StencilCode};
use stencilward_domain::plant::MachineKind;
use stencilward_domain::site::{Reply, Request};

use super::page;
use crate::Surface;
use crate::pages::forms::{Fault, Fields, Given, Sent, WHY, ask, done, folded};
use crate::pages::layout::{missing, path};
use crate::pages::machines::Seen;
use crate::pages::words::Words;

const STENCIL: Fields = &[("stencil", "text", true)];
const ORDER: Fields = &[("order", "text", true)];
const FINISHED: Fields = &[("order", "text", true), ("made", "number", false)];

/// The actions that make sense at such a machine, the likeliest first.
fn offered(seen: &Seen, maintained: bool) -> Vec<(&'static str, Fields)> {
    let mut offered = Vec::new();
    if matches!(seen.kind, MachineKind::Printer | MachineKind::Washer) && !seen.on_trial {
        offered.push(("seat", STENCIL));
        offered.push(("remove", &[]));
    }
    if seen.kind == MachineKind::Printer && !seen.on_trial {
        offered.push(("start", ORDER));
        if seen.order.is_some() {
            offered.push(("finish", FINISHED));
        }
    }
    offered.push(if maintained { ("end-maintenance", &[]) } else { ("begin-maintenance", WHY) });
    offered
}

/// Their forms.
pub(super) fn all(words: &Words, seen: &Seen, maintained: bool, sent: Option<&Sent<'_>>) -> Markup {
    let to = |action: &str| path(&["machines", seen.name.as_str(), action]);
    html! {
        section aria-labelledby="do" {
            h2 #do { (words.say("machine-do")) }
            (folded(words, &offered(seen, maintained), to, sent))
        }
    }
}

/// `POST /machines/{name}/{action}`.
pub(crate) async fn act(
    State(surface): State<Surface>,
    words: Words,
    Path((name, action)): Path<(String, String)>,
    given: Given,
) -> Result<Response, Response> {
    let machine = MachineName::new(&name).map_err(|_| missing(&words, "machine", &name))?;
    let fault = match asked(&words, machine, &action, &given) {
        Err(fault) => fault,
        Ok(request) => match ask(&surface, &words, &given, request).await? {
            Reply::Refused(says) => Fault { field: "", says },
            _ => return Ok(done(&path(&["machines", &name]))),
        },
    };
    let sent = Sent { action: &action, given: &given, fault: &fault };
    page(&surface, &words, &name, Some(sent)).await
}

fn asked(
    words: &Words,
    machine: MachineName,
    action: &str,
    given: &Given,
) -> Result<Request, Fault> {
    let by = || given.by(words);
    let order = || given.name(words, "order", OrderName::new);
    Ok(match action {
        "seat" => {
            let stencil = given.name(words, "stencil", StencilCode::new)?;
            Request::Seat { stencil, machine, by: by()? }
        }
        "remove" => Request::Remove { machine, by: by()? },
        "start" => Request::StartOrder { machine, order: order()?, by: by()? },
        "finish" => {
            let made = !given.text("made").is_empty();
            let made = made.then(|| given.count(words, "made")).transpose()?;
            Request::FinishOrder { machine, order: order()?, made, by: by()? }
        }
        "begin-maintenance" => {
            Request::BeginMaintenance { machine, why: given.needed(words, "why")?, by: by()? }
        }
        "end-maintenance" => Request::EndMaintenance { machine, by: by()? },
        _ => return Err(Fault { field: "", says: words.say("no-action") }),
    })
}
