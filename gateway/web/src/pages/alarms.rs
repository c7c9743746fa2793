//! Alarms: what stands, the most urgent first, and what to do about each; ticked ones together.
//!
//! Each entry tells what is wrong, what to do and whose it is. Priority is told by a word and by
//! the weight of the ink. One form serves all: tick, choose, say who you are.

mod measures;

use std::time::Duration;

use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use maud::{Markup, html};
use serde::Deserialize;
use stencilward_domain::alarm::{ActiveAlarm, AlarmId, Priority, Subject};
use stencilward_domain::site::{AlarmAct, Reply, Request};

use super::forms::{Fault, Filling, Given, ask, done, form};
use super::layout::{Page, answer, event_link, name_link};
use super::words::{Language, Words};
use crate::Surface;

/// What can be done with alarms, the most usual first.
const ACTIONS: [&str; 7] =
    ["acknowledge", "shelve", "comment", "unshelve", "reset", "take-out", "return"];

/// Alarms shown at once; the next follow as these are seen to.
const SHOWN: usize = 50;

/// The order of the list.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Wanted {
    #[serde(default)]
    order: String,
}

/// `GET /alarms`: asks the board, so that it answers also while the ledger takes no writes.
pub(crate) async fn alarms(
    State(surface): State<Surface>,
    words: Words,
    Query(wanted): Query<Wanted>,
) -> Response {
    page(&surface, &words, &wanted.order, None)
}

/// `POST /alarms/{action}`.
pub(crate) async fn see_to(
    State(surface): State<Surface>,
    words: Words,
    Path(action): Path<String>,
    given: Given,
) -> Result<Response, Response> {
    let fault = match asked(&words, &action, &given) {
        Err(fault) => fault,
        Ok(request) => match ask(&surface, &words, &given, request).await? {
            Reply::Alarms { refused, .. } if !refused.is_empty() => {
                let each = refused.into_iter().map(|(id, why)| format!("{}: {why}", id.subject));
                Fault { field: "", says: each.collect::<Vec<_>>().join("; ") }
            }
            Reply::Refused(says) => Fault { field: "", says },
            _ => return Ok(done("/alarms")),
        },
    };
    Ok(page(&surface, &words, "", Some((&given, &fault))))
}

fn asked(words: &Words, action: &str, given: &Given) -> Result<Request, Fault> {
    let alarms: Vec<AlarmId> = given.all("alarm").filter_map(|id| id.parse().ok()).collect();
    if alarms.is_empty() {
        return Err(Fault { field: "", says: words.say("alarms-none-ticked") });
    }
    let comment = || given.needed(words, "comment");
    let said = Some(given.text("comment")).filter(|said| !said.is_empty());
    let said = said.map(|_| comment()).transpose()?;
    let act = match action {
        "acknowledge" => AlarmAct::Acknowledge { comment: said },
        "reset" => AlarmAct::Reset { comment: said },
        "shelve" => {
            let minutes = given.count(words, "minutes")?;
            let span = Duration::from_secs(minutes.saturating_mul(60));
            AlarmAct::Shelve { span, why: comment()? }
        }
        "unshelve" => AlarmAct::Unshelve,
        "take-out" => AlarmAct::TakeOut { why: comment()? },
        "return" => AlarmAct::Return,
        "comment" => AlarmAct::Comment { comment: comment()? },
        _ => return Err(Fault { field: "", says: words.say("no-action") }),
    };
    Ok(Request::Alarms { alarms, act, by: given.by(words)? })
}

/// What whoever looks may do, and where it is sent.
fn open_to(words: &Words) -> impl Iterator<Item = (&'static str, String)> + use<'_> {
    let paths = ACTIONS.map(|action| (action, format!("/alarms/{action}")));
    paths.into_iter().filter(|(_, path)| words.who.may_post(path))
}

fn page(surface: &Surface, words: &Words, order: &str, sent: Option<(&Given, &Fault)>) -> Response {
    let standing = surface.alarms.standing();
    let mut shown: Vec<&ActiveAlarm> = standing.iter().collect();
    if order == "time" {
        shown.sort_by_key(|alarm| std::cmp::Reverse(alarm.since));
    }
    let title = words.say("alarms-title");
    let filling = Filling {
        words,
        form: "alarms",
        given: sent.map(|(given, _)| given),
        fault: sent.map(|(_, fault)| fault),
    };
    let main = html! {
        h1 { (title) span.count { (words.number(shown.len() as u64)) } }
        @if shown.is_empty() {
            p { (words.say("alarms-nothing")) }
        } @else {
            p {
                (words.say("alarms-order")) " "
                a href="/alarms" { (words.say("alarms-by-priority")) } " · "
                a href="/alarms?order=time" { (words.say("alarms-by-time")) }
            }
            (form(words, "/alarms/acknowledge", &html! {
                (filling.fault())
                ol.tasks { @for alarm in shown.iter().take(SHOWN) { (entry(words, alarm, sent.map(|(given, _)| given))) } }
                section aria-labelledby="with-ticked" {
                    h2 #with-ticked { (words.say("alarms-with-ticked")) }
                    div.filter {
                        (filling.by())
                        (filling.field("comment", "text", false))
                        (filling.field_with("minutes", "number", false, "60"))
                    }
                    div.actions {
                        @for (action, path) in open_to(words) {
                            button.plain[action != "acknowledge"] type="submit" formaction=(path) {
                                (words.say(&format!("alarm-{action}")))
                            }
                        }
                    }
                    p.quiet { (words.say("alarms-how")) }
                }
            }))
        }
        (measures::section(surface, words))
    };
    let status = if sent.is_some() { StatusCode::CONFLICT } else { StatusCode::OK };
    let live = sent.is_none().then(String::new);
    answer(words, status, &Page { place: "alarms", title, live, main })
}

/// What it is about, and what is wrong with it.
pub(crate) fn name(words: &Words, alarm: &ActiveAlarm) -> String {
    let subject = match &alarm.subject {
        Subject::Machine { machine } => machine.to_string(),
        Subject::Fault { machine, code } => format!("{machine} {code}"),
        Subject::Counter { machine, counter } => format!("{machine} {counter}"),
        Subject::Slot { rack, slot } => format!("{rack} {slot}"),
        Subject::Stencil { stencil } => stencil.to_string(),
        Subject::Gateway => words.say("the-gateway"),
    };
    format!("{subject}: {}", words.say(&format!("alarm-kind-{}", alarm.code)))
}

fn entry(words: &Words, alarm: &ActiveAlarm, given: Option<&Given>) -> Markup {
    let loud = alarm.priority >= Priority::High && alarm.state.is_active();
    let weight = match (loud, alarm.state.is_silenced()) {
        (true, _) => "stop",
        (false, true) => "wait",
        (false, false) => "act",
    };
    let id = format!("alarm-{}", alarm.id);
    let ticked = given.is_some_and(|given| given.all("alarm").any(|ticked| ticked == alarm.id));
    html! {
        li.wrong[loud] {
            h2 {
                input #(id) type="checkbox" name="alarm" value=(alarm.id) checked[ticked];
                label for=(id) { (name(words, alarm)) }
            }
            p.condition {
                span.chip.(weight) {
                    span { span.dimension { (words.say("alarm-priority")) } " " strong { (words.say(&format!("priority-{}", alarm.priority.as_str()))) } }
                }
                span.chip.calm { strong { (words.say(&format!("word-to-{}", alarm.state.as_str()))) } }
            }
            p { strong { (words.say(&format!("alarm-todo-{}", alarm.code))) } }
            // The event's own words name what the catalogue cannot; they are English.
            @if words.language == Language::English { p { (alarm.text) } }
            p.quiet {
                (words.say(&format!("role-{}", alarm.who))) " · " (words.when(alarm.since))
                @if let Some(until) = alarm.until { " · " (words.say("until")) " " (words.when(until)) }
                @if let Some(event) = alarm.because { " " (event_link(event)) }
            }
            p {
                @if let Some(machine) = alarm.subject.machine() { (name_link("machines", machine.as_str())) " " }
                @if let Some(stencil) = alarm.subject.stencil() { (name_link("stencils", stencil.as_str())) }
            }
        }
    }
}
