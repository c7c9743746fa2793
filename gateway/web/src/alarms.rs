//! Alarms: those that stand, one with its history, and what people do with them.

use std::time::Duration;

use axum::Json;
use axum::extract::rejection::{JsonRejection, QueryRejection};
use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use serde::Deserialize;
use serde_json::{Value, json};
use stencilward_domain::alarm::{
    ActiveAlarm, AlarmId, AlarmKind, AlarmState, Entry, NoAlarm, Priority,
};
use stencilward_domain::site::{AlarmAct, Reply, Request, Site};
use stencilward_domain::time::Timestamp;

use crate::Surface;
use crate::door::Who;
use crate::problem::Problem;
use crate::said::{bad, by, needed, why};

/// Which alarms are wanted, and in what order.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Wanted {
    state: Option<AlarmState>,
    priority: Option<Priority>,
    kind: Option<AlarmKind>,
    machine: Option<String>,
    stencil: Option<String>,
    #[serde(default)]
    order: Order,
}

/// By what the list is in order.
#[derive(Debug, Clone, Copy, Default, Deserialize)]
#[serde(rename_all = "kebab-case")]
enum Order {
    /// The most urgent first, of equal ones the oldest.
    #[default]
    Priority,
    /// The latest first.
    Time,
}

impl Wanted {
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

/// `GET /api/v1/alarms`: does not trouble the site task, so it answers whatever the ledger does.
pub(crate) async fn alarms(
    State(surface): State<Surface>,
    wanted: Result<Query<Wanted>, QueryRejection>,
) -> Result<Json<Value>, Problem> {
    let Query(wanted) = wanted.map_err(|rejection| bad(rejection.body_text()))?;
    let standing = surface.alarms.standing();
    let mut picked: Vec<&ActiveAlarm> =
        standing.iter().filter(|alarm| wanted.picks(alarm)).collect();
    if let Order::Time = wanted.order {
        picked.sort_by_key(|alarm| std::cmp::Reverse(alarm.since));
    }
    Ok(Json(json!({ "alarms": picked })))
}

/// `GET /api/v1/alarms/{id}`.
pub(crate) async fn alarm(
    State(surface): State<Surface>,
    Path(text): Path<String>,
) -> Result<Json<Value>, Problem> {
    let id = id(&text)?;
    let missing = || Problem::not_found("alarm", &text);
    if id.kind == AlarmKind::LedgerTrouble {
        let standing = surface.alarms.standing();
        let live = standing.iter().find(|alarm| alarm.id == text).ok_or_else(missing)?;
        return Ok(Json(json!({ "alarm": live, "history": [] })));
    }
    let found = surface.site.look(move |site, now| whole(site, &id, now)).await?;
    found.map(Json).ok_or_else(missing)
}

fn whole(site: &Site, id: &AlarmId, now: Timestamp) -> Option<Value> {
    let alarm = site.state().alarms.all.get(id)?;
    let history: Vec<Value> = alarm.history.iter().map(entry_view).collect();
    let shown = ActiveAlarm::of(&site.case(now), id, alarm);
    Some(json!({ "alarm": shown, "history": history }))
}

fn entry_view(entry: &Entry) -> Value {
    json!({ "at": entry.at, "event": entry.because, "happened": entry.happened })
}

fn id(text: &str) -> Result<AlarmId, Problem> {
    text.parse().map_err(|error: NoAlarm| Problem::new(StatusCode::NOT_FOUND, error.to_string()))
}

/// What is done, and with which.
#[derive(Debug, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct SeeTo {
    alarms: Vec<String>,
    by: Option<String>,
    why: Option<String>,
    comment: Option<String>,
    /// How long it is shelved.
    minutes: Option<u64>,
}

impl SeeTo {
    fn act(&self, action: &str) -> Result<AlarmAct, Problem> {
        let why = || why(self.why.as_deref());
        let said = || needed("comment", "what there is to say", self.comment.as_deref());
        let comment = self.comment.is_some().then(said).transpose()?;
        if comment.is_some() && !matches!(action, "acknowledge" | "reset" | "comment") {
            return Err(bad("comment is not kept with this: write a comment of its own"));
        }
        Ok(match action {
            "acknowledge" => AlarmAct::Acknowledge { comment },
            "reset" => AlarmAct::Reset { comment },
            "shelve" => {
                let minutes = self.minutes.ok_or_else(|| bad("minutes is missing: how long"))?;
                let span = Duration::from_secs(minutes.saturating_mul(60));
                AlarmAct::Shelve { span, why: why()? }
            }
            "unshelve" => AlarmAct::Unshelve,
            "take-out" => AlarmAct::TakeOut { why: why()? },
            "return" => AlarmAct::Return,
            "comment" => AlarmAct::Comment { comment: said()? },
            _ => {
                let known = "acknowledge, reset, shelve, unshelve, take-out, return, comment";
                let detail = format!("there is no action {action}; there are {known}");
                return Err(Problem::new(StatusCode::NOT_FOUND, detail));
            }
        })
    }
}

/// `POST /api/v1/alarms/{action}`: the same with all that are named. What cannot be done with one
/// keeps nobody from the others.
pub(crate) async fn see_to(
    State(surface): State<Surface>,
    Path(action): Path<String>,
    who: Who,
    said: Result<Json<SeeTo>, JsonRejection>,
) -> Result<Json<Value>, Problem> {
    let Json(said) = said.map_err(|rejection| bad(rejection.body_text()))?;
    let (act, by) = (said.act(&action)?, by(who.or_claimed(said.by.clone()).as_deref())?);
    if said.alarms.is_empty() {
        return Err(bad("alarms is empty: name at least one by its id"));
    }
    let ids = said.alarms.iter().map(|text| id(text)).collect::<Result<Vec<_>, _>>()?;
    if ids.iter().any(|id| id.kind == AlarmKind::LedgerTrouble) {
        let detail = "the ledger's trouble is live only: it ends when the ledger takes writes";
        return Err(Problem::new(StatusCode::CONFLICT, detail));
    }
    let asked = ids.iter().collect::<std::collections::BTreeSet<_>>().len();
    let reply = surface.site.ask(Request::Alarms { alarms: ids, act, by }).await?;
    let Reply::Alarms { event, refused } = reply else {
        return crate::actions::answer(reply);
    };
    let each: Vec<Value> =
        refused.iter().map(|(id, why)| json!({ "alarm": id.to_string(), "why": why })).collect();
    if refused.len() == asked {
        let first = refused.first().map_or("", |(_, why)| why.as_str());
        let problem = Problem::new(StatusCode::CONFLICT, first);
        return Err(problem.with("refused", json!(each)));
    }
    Ok(Json(json!({ "done": asked - refused.len(), "event": event, "refused": each })))
}
