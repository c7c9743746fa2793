//! Alarms: those that stand, and one with its history.

pub(crate) mod see_to;

use axum::extract::rejection::QueryRejection;
use axum::extract::{Path, Query, State};
use axum::http::{HeaderMap, StatusCode};
use axum::response::Response;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_domain::alarm::{
    ActiveAlarm, AlarmId, AlarmKind, AlarmState, Entry, NoAlarm, Priority, Text as Words,
};
use stencilward_domain::event::{AlarmEvent, Position};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::site::Site;
use stencilward_domain::time::Timestamp;

use crate::contract::shapes::{
    AlarmKindWord, AlarmStateWord, EventNumber, HappenedShape, Moment, Name, PriorityWord,
    SubjectShape,
};
use crate::paging::{Paged, Paging, number, page};
use crate::problem::Problem;
use crate::said::{bad, name};
use crate::{Surface, version};

/// Which alarms are wanted, and in what order.
#[derive(Debug, Default, Deserialize, JsonSchema)]
#[serde(deny_unknown_fields)]
pub(crate) struct Wanted {
    #[schemars(with = "AlarmStateWord")]
    state: Option<AlarmState>,
    #[schemars(with = "PriorityWord")]
    priority: Option<Priority>,
    #[schemars(with = "AlarmKindWord")]
    kind: Option<AlarmKind>,
    /// Only those of this machine.
    #[schemars(with = "Name")]
    machine: Option<String>,
    /// Only those of this stencil.
    #[schemars(with = "Name")]
    stencil: Option<String>,
    #[serde(default)]
    order: Order,
    /// How many at most.
    #[schemars(range(min = 1, max = 1_000), with = "u16")]
    limit: Option<u16>,
    /// Where to go on: as `next` of the answer before says.
    #[schemars(regex(pattern = "^([0-9a-f]{2})+$"), length(max = 2_000), with = "String")]
    after: Option<String>,
}

/// By what the list is in order.
#[derive(Debug, Clone, Copy, Default, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
#[schemars(inline)]
enum Order {
    /// The most urgent first, of equal ones the oldest.
    #[default]
    Priority,
    /// The latest first.
    Time,
}

impl Order {
    /// The place of an alarm in this order: as texts they are in it.
    fn place(self, alarm: &ActiveAlarm) -> String {
        let since = u64::try_from(alarm.since.0).unwrap_or(0);
        match self {
            Self::Priority => {
                let above = Priority::ALL.iter().filter(|other| **other > alarm.priority).count();
                format!("{above}{}{}", number(since), alarm.id)
            }
            Self::Time => format!("{}{}", number(u64::MAX - since), alarm.id),
        }
    }
}

impl Wanted {
    /// As a query without the part of the list, to go on with the same.
    fn query(&self) -> String {
        let mut query = form_urlencoded::Serializer::new(String::new());
        let parts = [
            ("state", self.state.map(AlarmState::as_str)),
            ("priority", self.priority.map(Priority::as_str)),
            ("kind", self.kind.map(AlarmKind::as_str)),
            ("machine", self.machine.as_deref()),
            ("stencil", self.stencil.as_deref()),
            ("order", matches!(self.order, Order::Time).then_some("time")),
        ];
        for (key, value) in parts {
            if let Some(value) = value {
                query.append_pair(key, value);
            }
        }
        let query = query.finish();
        if query.is_empty() { query } else { format!("?{query}") }
    }

    fn picks(&self, alarm: &ActiveAlarm) -> bool {
        let named = |wanted: Option<&String>, is: Option<&str>| {
            wanted.is_none_or(|wanted| is == Some(wanted.as_str()))
        };
        self.state.is_none_or(|state| state == alarm.state)
            && self.priority.is_none_or(|priority| priority == alarm.priority)
            && self.kind.is_none_or(|kind| kind.as_str() == alarm.code)
            && named(self.machine.as_ref(), alarm.subject.machine().map(|name| name.as_str()))
            && named(self.stencil.as_ref(), alarm.subject.stencil().map(|code| code.as_str()))
    }
}

/// An alarm that is not normal.
#[derive(Serialize, JsonSchema)]
pub(crate) struct AlarmView {
    /// By which it is named.
    id: String,
    /// The stable code of its kind.
    #[schemars(with = "AlarmKindWord")]
    code: &'static str,
    #[schemars(with = "SubjectShape")]
    subject: stencilward_domain::alarm::Subject,
    #[schemars(with = "PriorityWord")]
    priority: Priority,
    #[schemars(with = "AlarmStateWord")]
    state: AlarmState,
    /// When it was raised; of one that was silenced before, since when it is.
    #[schemars(with = "Moment")]
    since: Timestamp,
    /// What is wrong.
    #[schemars(with = "String")]
    text: Words,
    /// What to do about it.
    to_do: &'static str,
    /// Who does it.
    who: &'static str,
    /// Until when it is shelved.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Moment")]
    until: Option<Timestamp>,
    /// The event that put it into its state; none of one that is live only.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(with = "EventNumber")]
    because: Option<Position>,
}

impl From<&ActiveAlarm> for AlarmView {
    fn from(alarm: &ActiveAlarm) -> Self {
        Self {
            id: alarm.id.clone(),
            code: alarm.code,
            subject: alarm.subject.clone(),
            priority: alarm.priority,
            state: alarm.state,
            since: alarm.since,
            text: alarm.text.clone(),
            to_do: alarm.to_do,
            who: alarm.who,
            until: alarm.until,
            because: alarm.because,
        }
    }
}

/// Alarms that stand.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Alarms {
    alarms: Vec<AlarmView>,
    /// Where the list goes on.
    #[serde(skip_serializing_if = "Option::is_none")]
    #[schemars(with = "String")]
    next: Option<String>,
}

/// `GET /api/v1/alarms`: does not trouble the site task, so it answers whatever the ledger does.
pub(crate) async fn alarms(
    State(surface): State<Surface>,
    wanted: Result<Query<Wanted>, QueryRejection>,
) -> Result<Paged<Alarms>, Problem> {
    let Query(mut wanted) = wanted.map_err(|rejection| bad(rejection.body_text()))?;
    let paging = Paging::from(wanted.limit, wanted.after.take())?;
    name("machine", wanted.machine.as_ref(), MachineName::new)?;
    name("stencil", wanted.stencil.as_ref(), StencilCode::new)?;
    let standing = surface.alarms.standing();
    let picked = standing.iter().filter(|alarm| wanted.picks(alarm));
    let mut picked: Vec<(String, &ActiveAlarm)> =
        picked.map(|alarm| (wanted.order.place(alarm), alarm)).collect();
    picked.sort_by(|(one, _), (other, _)| one.cmp(other));
    let path = format!("/api/v1/alarms{}", wanted.query());
    let (alarms, next) = page(picked.into_iter(), &paging, &path, AlarmView::from);
    Ok(Paged::new(next.clone(), Alarms { alarms, next }))
}

/// An alarm with its history.
#[derive(Serialize, JsonSchema)]
pub(crate) struct Told {
    alarm: AlarmView,
    history: Vec<EntryView>,
}

/// Something that happened to an alarm.
#[derive(Serialize, JsonSchema)]
struct EntryView {
    #[schemars(with = "Moment")]
    at: Timestamp,
    #[schemars(with = "EventNumber")]
    event: Position,
    #[schemars(with = "HappenedShape")]
    happened: AlarmEvent,
}

/// `GET /api/v1/alarms/{id}`.
pub(crate) async fn alarm(
    State(surface): State<Surface>,
    Path(text): Path<String>,
    headers: HeaderMap,
) -> Result<Response, Problem> {
    let id = id(&text)?;
    let missing = || Problem::not_found("alarm", &text);
    if id.kind == AlarmKind::LedgerTrouble {
        let standing = surface.alarms.standing();
        let live = standing.iter().find(|alarm| alarm.id == text).ok_or_else(missing)?;
        return version::answer(&headers, &Told { alarm: live.into(), history: Vec::new() });
    }
    let found = surface.site.look(move |site, now| whole(site, &id, now)).await?;
    version::answer(&headers, &found.ok_or_else(missing)?)
}

fn whole(site: &Site, id: &AlarmId, now: Timestamp) -> Option<Told> {
    let alarm = site.state().alarms.all.get(id)?;
    let entry = |entry: &Entry| EntryView {
        at: entry.at,
        event: entry.because,
        happened: entry.happened.clone(),
    };
    let shown = ActiveAlarm::of(&site.case(now), id, alarm);
    Some(Told { alarm: (&shown).into(), history: alarm.history.iter().map(entry).collect() })
}

fn id(text: &str) -> Result<AlarmId, Problem> {
    text.parse().map_err(|error: NoAlarm| Problem::new(StatusCode::NOT_FOUND, error.to_string()))
}
