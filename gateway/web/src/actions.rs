//! What people do to a stencil or at a machine, one POST each: what each says, and the request that
//! follows from it.

pub(crate) mod on_machine;
pub(crate) mod on_stencil;

use axum::Json;
use axum::http::{HeaderMap, StatusCode, header};
use axum::response::{IntoResponse, Response};
use schemars::JsonSchema;
use serde::Serialize;
use stencilward_domain::event::{Position, Stream};
use stencilward_domain::site::{Reply, Request, Site};
use stencilward_domain::time::Timestamp;

use crate::contract::shapes::EventNumber;
use crate::events::EventView;
use crate::problem::{CHANGED, Problem};
use crate::version::Seen;
use crate::views::DecisionView;
use crate::{SiteHandle, Surface, version};

/// It is done, and the ledger says so.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Done {
    /// Always true.
    done: bool,
    /// The event that says so.
    #[schemars(with = "EventNumber")]
    event: Position,
}

/// A reply as an answer.
pub(crate) fn answer(reply: Reply) -> Result<Response, Problem> {
    match reply {
        Reply::Decision(decision) => Ok(Json(DecisionView::from(&decision)).into_response()),
        // Those who see to alarms answer by themselves.
        Reply::Done(event) | Reply::Alarms { event, .. } => {
            Ok(Json(Done { done: true, event }).into_response())
        }
        Reply::Refused(why) => Err(Problem::new(StatusCode::CONFLICT, why)),
    }
}

/// Carries out what is asked of a thing; with If-Match only if it is still as somebody saw it,
/// with nothing in between. `tag` gives the tag of what is known by that name.
async fn carry_out(
    surface: &Surface,
    site: &SiteHandle,
    headers: &HeaderMap,
    of: Stream,
    request: Request,
    tag: impl FnOnce(&Site, Timestamp) -> Option<String> + Send + 'static,
) -> Result<Response, Problem> {
    let Some(seen) = Seen::if_match(headers)? else {
        return answer(site.ask(request).await?);
    };
    let (present, reply) = site
        .ask_after(move |site, now| {
            let present = tag(site, now);
            let same = present.as_ref().is_some_and(|present| seen.strongly(present));
            (present, same.then_some(request))
        })
        .await?;
    match reply {
        Some(reply) => answer(reply),
        None => Err(changed(surface, &of, present).await),
    }
}

/// What somebody saw is no more: what it is now, and what happened to it last.
async fn changed(surface: &Surface, of: &Stream, present: Option<String>) -> Problem {
    let detail = match present {
        Some(_) => format!("{of} changed meanwhile: look at it and decide anew"),
        None => format!("there is no {of}"),
    };
    let mut problem = Problem::of(&CHANGED, detail);
    if let Some(tag) = present {
        problem = problem.header(header::ETAG, &tag).with("etag", tag.into());
    }
    let last = surface.archive.of_stream(of, 1).await.unwrap_or_default().pop();
    let last = last.and_then(|last| serde_json::to_value(EventView::of(last)).ok());
    match last {
        Some(last) => problem.with("last_event", last),
        None => problem,
    }
}
