//! The ledger's events over HTTP: in parts, one alone, and as they come.

mod live;

use axum::Json;
use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use serde_json::{Map, Value};
use stencilward_domain::event::{Position, Recorded, Stream};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::state::{machine_of, stencil_of};

use crate::Surface;
use crate::contract::shapes::{EventNumber, Moment, Name, Text};
use crate::paging::{self, Paged, Paging};
use crate::problem::Problem;
use crate::said::{bad, name};

pub(crate) use live::live;

/// Events looked at for one answer, however few of them are wanted.
const LOOKED_AT: usize = 5_000;

/// Events read at once.
const AT_ONCE: usize = 500;

/// An event of the ledger. Which members it has beside these follows from its kind.
#[derive(Serialize, JsonSchema)]
pub(crate) struct EventView {
    /// Its number.
    #[schemars(with = "EventNumber")]
    position: Position,
    /// What it is about: `stencil/...`, `machine/...`, `order/...` or `site`.
    stream: String,
    #[serde(flatten)]
    #[schemars(with = "FactShape")]
    fact: Map<String, Value>,
}

/// What every event tells.
#[derive(JsonSchema)]
#[allow(dead_code)] // Only its shape is wanted: events are written by themselves.
struct FactShape {
    /// When the gateway decided it.
    #[schemars(with = "Moment")]
    at: i64,
    /// The machine's own time, if it gave one.
    #[schemars(with = "i64")]
    #[serde(skip_serializing_if = "Option::is_none")]
    machine_time: Option<i64>,
    /// When it happened, where it was told late.
    #[schemars(with = "i64")]
    #[serde(skip_serializing_if = "Option::is_none")]
    happened: Option<i64>,
    /// `machine/identity` of the message it came from.
    #[schemars(with = "String")]
    #[serde(skip_serializing_if = "Option::is_none")]
    identity: Option<String>,
    /// The machine that sent that message, where the event is about another one.
    #[schemars(with = "String")]
    #[serde(skip_serializing_if = "Option::is_none")]
    sender: Option<String>,
    /// Its kind.
    event: String,
}

impl EventView {
    pub(crate) fn of(recorded: Recorded) -> Self {
        let Recorded { position, fact } = recorded;
        let stream = fact.event.stream().to_string();
        let fact = match serde_json::to_value(fact) {
            Ok(Value::Object(fact)) => fact,
            _ => Map::new(),
        };
        Self { position, stream, fact }
    }

    fn kind(&self) -> &str {
        self.fact.get("event").and_then(Value::as_str).unwrap_or_default()
    }
}

/// Which events are wanted.
#[derive(Debug, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Wanted {
    /// How many at most.
    #[schemars(range(min = 1, max = 1_000), with = "u16")]
    limit: Option<u16>,
    /// Where to go on: as `next` of the answer before says.
    #[schemars(regex(pattern = "^([0-9a-f]{2})+$"), length(max = 2_000), with = "String")]
    after: Option<String>,
    /// Only of this stream, such as `stencil/ST-1`.
    #[schemars(with = "Text")]
    stream: Option<String>,
    /// Only of this kind, such as `wash-ended`.
    #[schemars(with = "Text")]
    kind: Option<String>,
    /// Only what is about this stencil.
    #[schemars(with = "Name")]
    stencil: Option<String>,
    /// Only what is about this machine.
    #[schemars(with = "Name")]
    machine: Option<String>,
}

/// What an event must be to be told.
#[derive(Debug, Clone, Default)]
struct Filter {
    stream: Option<String>,
    kind: Option<String>,
    stencil: Option<StencilCode>,
    machine: Option<MachineName>,
}

impl Filter {
    fn picks(&self, recorded: &Recorded) -> bool {
        let event = &recorded.fact.event;
        let stream = || event.stream();
        let stencil = |wanted: &StencilCode| {
            stencil_of(event) == Some(wanted) || stream() == Stream::Stencil(wanted.clone())
        };
        let machine = |wanted: &MachineName| {
            machine_of(event) == Some(wanted) || stream() == Stream::Machine(wanted.clone())
        };
        self.stencil.as_ref().is_none_or(stencil)
            && self.machine.as_ref().is_none_or(machine)
            && self.stream.as_ref().is_none_or(|wanted| *wanted == stream().to_string())
    }

    /// The event, if it is wanted.
    fn view(&self, recorded: Recorded) -> Option<EventView> {
        let view = self.picks(&recorded).then(|| EventView::of(recorded))?;
        self.kind.as_ref().is_none_or(|kind| kind == view.kind()).then_some(view)
    }

    /// As a part of a query, to go on with the same.
    fn query(&self) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        let parts = [
            ("stream", self.stream.clone()),
            ("kind", self.kind.clone()),
            ("stencil", self.stencil.as_ref().map(ToString::to_string)),
            ("machine", self.machine.as_ref().map(ToString::to_string)),
        ];
        for (key, value) in parts {
            if let Some(value) = value {
                query.append_pair(key, &value);
            }
        }
        query.finish()
    }
}

impl Wanted {
    fn apart(self) -> Result<(Paging, Filter), Problem> {
        let text = |key: &str, text: Option<String>| {
            text.map(|text| crate::said::needed(key, "which", Some(&text))).transpose()
        };
        let filter = Filter {
            stream: text("stream", self.stream)?,
            kind: text("kind", self.kind)?,
            stencil: name("stencil", self.stencil.as_ref(), StencilCode::new)?,
            machine: name("machine", self.machine.as_ref(), MachineName::new)?,
        };
        Ok((Paging::from(self.limit, self.after)?, filter))
    }
}

/// Events in the order in which they were recorded.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Events {
    events: Vec<EventView>,
    /// The last event there is.
    #[schemars(with = "EventNumber")]
    head: Position,
    /// Where the list goes on; also of a list without events, where a part of the ledger was
    /// looked at in vain.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(with = "String")]
    next: Option<String>,
}

/// `GET /api/v1/events`.
pub(crate) async fn events(
    State(surface): State<Surface>,
    query: Result<Query<Wanted>, QueryRejection>,
) -> Result<Paged<Events>, Problem> {
    let Query(wanted) = query.map_err(|rejection| bad(rejection.body_text()))?;
    let (paging, filter) = wanted.apart()?;
    let (head, mut last) = (surface.archive.head(), Position(paging.number()));
    let (mut events, mut looked) = (Vec::new(), 0);
    'looking: while last < head && looked < LOOKED_AT {
        let part = surface.archive.after(last, AT_ONCE).await?;
        if part.is_empty() {
            last = head;
        }
        for recorded in part {
            (last, looked) = (recorded.position, looked + 1);
            events.extend(filter.view(recorded));
            if events.len() == paging.limit() {
                break 'looking;
            }
        }
    }
    let query = filter.query();
    let mark = if query.is_empty() { "" } else { "?" };
    let path = format!("/api/v1/events{mark}{query}");
    let next = (last < head).then(|| paging.next(&path, &paging::number(last.0)));
    Ok(Paged::new(next.clone(), Events { events, head, next }))
}

/// `GET /api/v1/events/{event}`.
pub(crate) async fn event(
    State(surface): State<Surface>,
    Path(number): Path<String>,
) -> Result<Json<EventView>, Problem> {
    let missing = || Problem::not_found("event", &number);
    let position = position(&number)?;
    let found = surface.archive.event(position).await?;
    found.map(|found| Json(EventView::of(found))).ok_or_else(missing)
}

/// The place that is meant by a number.
pub(crate) fn position(number: &str) -> Result<Position, Problem> {
    // The ledger's numbers are those of SQLite.
    let parsed = number.parse::<i64>().ok().and_then(|number| u64::try_from(number).ok());
    parsed.map(Position).ok_or_else(|| {
        let detail = format!("{number:?} is no event: name it by its number in the ledger");
        Problem::new(axum::http::StatusCode::NOT_FOUND, detail)
    })
}
