//! Strokes that nobody could attribute, and corrections of what was booked.

use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::response::Response;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_domain::event::{Position, WhyUnattributed};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::site::{Correction, Request, Share, Wrong};
use stencilward_domain::state::Unattributed;
use stencilward_domain::time::Timestamp;

use crate::Surface;
use crate::actions::answer;
use crate::contract::shapes::{Count, EventNumber, Moment, Name, Text};
use crate::door::Who;
use crate::events::position;
use crate::paging::{Paged, Paging, number, page};
use crate::problem::Problem;
use crate::repeat::Asking;
use crate::said::{Body, bad, by, count, why, within};

/// Strokes of one stencil.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
struct Part {
    #[schemars(with = "Name")]
    stencil: StencilCode,
    #[schemars(with = "Count")]
    strokes: u64,
}

/// Whose strokes they are.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Assignment {
    #[serde(default)]
    shares: Vec<Part>,
    /// Strokes that are no stencil's.
    #[serde(default)]
    #[schemars(with = "Count")]
    write_off: u64,
    /// Needed where nobody is signed in.
    #[schemars(with = "Option<Text>")]
    by: Option<String>,
    #[schemars(with = "Text")]
    why: Option<String>,
}

/// What was wrong with an event: its strokes, or that it was no wash.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
#[schemars(transform = one_of_both)]
pub(crate) struct Corrected {
    /// How many strokes each stencil really made; one that is not named made none.
    shares: Option<Vec<Part>>,
    /// True: it was no wash.
    #[serde(default)]
    wash: bool,
    /// Needed where nobody is signed in.
    #[schemars(with = "Option<Text>")]
    by: Option<String>,
    #[schemars(with = "Text")]
    why: Option<String>,
}

/// Either the strokes or the wash.
fn one_of_both(schema: &mut schemars::Schema) {
    let strokes = serde_json::json!({
        "required": ["shares"],
        "properties": { "shares": { "type": "array" }, "wash": { "const": false } },
    });
    let wash = serde_json::json!({
        "required": ["wash"],
        "properties": { "shares": { "type": "null" }, "wash": { "const": true } },
    });
    schema.insert("oneOf".to_owned(), serde_json::json!([strokes, wash]));
}

fn shares(parts: Vec<Part>) -> Result<Vec<Share>, Problem> {
    let share = |part: Part| Ok((part.stencil, count("strokes", Some(part.strokes))?));
    parts.into_iter().map(share).collect()
}

/// Strokes that nobody could attribute.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Open {
    /// All that are open, also those of other parts of the list.
    strokes: u64,
    unattributed: Vec<OpenView>,
    /// Where the list goes on.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(with = "String")]
    next: Option<String>,
}

/// Strokes of one event that nobody could attribute.
#[derive(Serialize, JsonSchema)]
struct OpenView {
    /// The event that told of them.
    #[schemars(with = "EventNumber")]
    event: Position,
    #[schemars(with = "Name")]
    machine: MachineName,
    /// How many are left.
    left: u64,
    /// Not made before.
    #[schemars(with = "Moment")]
    since: Timestamp,
    /// Made by then.
    #[schemars(with = "Moment")]
    until: Timestamp,
    /// Stencils that may have made them.
    #[schemars(with = "Vec<Name>")]
    candidates: Vec<StencilCode>,
    /// Why nobody knows, as a stable word.
    #[schemars(with = "String")]
    why: WhyUnattributed,
    in_words: &'static str,
}

impl OpenView {
    fn of((event, open): (Position, &Unattributed)) -> Self {
        Self {
            event,
            machine: open.machine.clone(),
            left: open.left,
            since: open.since,
            until: open.until,
            candidates: open.candidates.clone(),
            why: open.why,
            in_words: open.why.in_words(),
        }
    }
}

/// `GET /api/v1/unattributed`.
pub(crate) async fn unattributed(
    State(surface): State<Surface>,
    paging: Result<Query<Paging>, QueryRejection>,
) -> Result<Paged<Open>, Problem> {
    let paging = Paging::of(paging)?;
    let view = surface.site.look(move |site, _| {
        let open = &site.state().unattributed;
        let strokes = open.values().fold(0_u64, |sum, open| sum.saturating_add(open.left));
        let places = open.iter().map(|(event, open)| (number(event.0), (*event, open)));
        let (unattributed, next) = page(places, &paging, "/api/v1/unattributed", OpenView::of);
        Paged::new(next.clone(), Open { strokes, unattributed, next })
    });
    Ok(view.await?)
}

/// `POST /api/v1/unattributed/{event}/assign`.
pub(crate) async fn assign(
    Asking(site): Asking,
    Path(event): Path<String>,
    who: Who,
    Body(said): Body<Assignment>,
) -> Result<Response, Problem> {
    let request = Request::Assign {
        of: position(&event)?,
        by: by(&who, said.by)?,
        why: why(said.why.as_deref())?,
        shares: shares(said.shares)?,
        write_off: within("write_off", Some(said.write_off))?.unwrap_or(0),
    };
    answer(site.ask(request).await?)
}

/// `POST /api/v1/events/{event}/correct`.
pub(crate) async fn correct(
    Asking(site): Asking,
    Path(event): Path<String>,
    who: Who,
    Body(said): Body<Corrected>,
) -> Result<Response, Problem> {
    let what = match (said.shares, said.wash) {
        (Some(parts), false) => Wrong::Strokes(shares(parts)?),
        (None, true) => Wrong::Wash,
        _ => {
            return Err(bad(
                "say what was wrong: shares, whose strokes they are, or wash: true, if it was no \
                 wash",
            ));
        }
    };
    let correction = Correction { what, by: by(&who, said.by)?, why: why(said.why.as_deref())? };
    answer(site.correct(position(&event)?, correction).await?)
}
