//! The shift's worklist: what to do next, the most urgent first.
//!
//! Each entry begins with what to do, for somebody who has only time for its first words; then by
//! when, where, and why. How soon it must be done decides in which of three lists it stands.

use std::collections::BTreeMap;
use std::sync::Arc;

use axum::extract::State;
use axum::response::Response;
use maud::{Markup, html};
use stencilward_domain::alarm::{ActiveAlarm, AlarmState, Priority};
use stencilward_domain::decision::{Decision, Rule};
use stencilward_domain::event::{Event, Recorded};
use stencilward_domain::machine::LinkState;
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::place::Place;
use stencilward_domain::plant::MachineKind;
use stencilward_domain::reason::Reason;
use stencilward_domain::site::Site;
use stencilward_domain::stencil::{Cleanliness, Stencil};
use stencilward_domain::time::Timestamp;

use super::layout::{Page, event_link, name_link, path, shown, stopping, text, unread};
use super::shapes::place_words;
use super::telling::reasons;
use super::words::Words;
use crate::Surface;

/// Entries of a list shown at once; the next follow as these are dealt with.
const SHOWN: usize = 40;

/// Events looked back for refusals.
const LOOK_BACK: usize = 2_000;

/// Refusals older than a shift are of no use to this one. Common practice: eight hours.
const SHIFT_MS: i64 = 8 * 3_600_000;

/// Less than this left and it must be done before anything else, in milliseconds.
const SOON_MS: i64 = 30 * 60_000;

/// How soon something must be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
enum Urgency {
    Now,
    Soon,
    Later,
}

impl Urgency {
    const ALL: [Self; 3] = [Self::Now, Self::Soon, Self::Later];

    fn as_str(self) -> &'static str {
        match self {
            Self::Now => "now",
            Self::Soon => "soon",
            Self::Later => "later",
        }
    }
}

/// One thing to do.
struct Task {
    urgency: Urgency,
    /// What comes first among equals.
    by: Option<Timestamp>,
    to: String,
    what: String,
    about: Markup,
}

/// `GET /`.
pub(crate) async fn worklist(
    State(surface): State<Surface>,
    words: Words,
) -> Result<Response, Response> {
    let speak = words.clone();
    let (mut tasks, now) = surface
        .site
        .look(move |site, now| (tasks(&speak, site, now), now))
        .await
        .map_err(stopping(&words))?;
    tasks.extend(alarms(&words, &surface.alarms.standing()));
    let recent = surface.archive.recent(LOOK_BACK).await.map_err(unread(&words))?;
    let refused = refused(&recent, Timestamp(now.0 - SHIFT_MS));
    tasks.sort_by_key(|task| (task.urgency, task.by.is_none(), task.by));
    let title = words.say("worklist-title");
    let main = html! {
        h1 { (title) }
        p.actions { a.go.first href="/scan" { (words.say("scan-something")) } }
        @for urgency in Urgency::ALL { (list(&words, urgency, &tasks)) }
        (refusals(&words, &refused))
    };
    Ok(shown(&words, &Page { place: "worklist", title, live: Some(String::new()), main }))
}

fn list(words: &Words, urgency: Urgency, tasks: &[Task]) -> Markup {
    let tasks: Vec<&Task> = tasks.iter().filter(|task| task.urgency == urgency).collect();
    let key = urgency.as_str();
    html! {
        section aria-labelledby=(key) {
            h2 id=(key) {
                (words.say(&format!("worklist-{key}")))
                span.count { (words.number(tasks.len() as u64)) }
            }
            @if tasks.is_empty() {
                p.quiet { (words.say(&format!("worklist-{key}-nothing"))) }
            } @else {
                ol.tasks.(key) {
                    @for task in tasks.iter().take(SHOWN) {
                        li {
                            h3 { a href=(task.to) { (task.what) } }
                            (task.about)
                        }
                    }
                }
            }
        }
    }
}

fn tasks(words: &Words, site: &Site, now: Timestamp) -> Vec<Task> {
    let mut tasks = Vec::new();
    for (code, stencil) in &site.state().stencils {
        if stencil.retired.is_none() {
            tasks.extend(to_wash(words, site, code, stencil, now));
            tasks.extend(to_find(words, code, stencil));
            tasks.extend(held(words, code, stencil));
        }
    }
    for name in site.plant().machines.keys().filter(|name| !site.plant().on_trial(name)) {
        tasks.extend(at_machine(words, site, name));
        tasks.extend(stopped_printer(words, site, name, now));
    }
    tasks.extend(unattributed(words, site));
    tasks
}

fn to_wash(
    words: &Words,
    site: &Site,
    code: &StencilCode,
    stencil: &Stencil,
    now: Timestamp,
) -> Option<Task> {
    let printing = matches!(stencil.place.value, Place::Printer { .. });
    let used = stencil.cleanliness.value == Cleanliness::Printed;
    let unclear = stencil.cleanliness.value == Cleanliness::Unknown && stencil.has_history;
    let washing = matches!(stencil.place.value, Place::Washer { .. });
    if !(used || unclear) || washing && !stencil.dried_out {
        return None;
    }
    let due = stencil.last_stroke.as_ref().filter(|_| used);
    let due = due.map(|last| last.since.plus(site.plant().policy.dry_out));
    let left = due.map(|due| due.0 - now.0);
    let urgency = match left {
        _ if stencil.dried_out => Urgency::Now,
        _ if printing => return None,
        Some(left) if left < SOON_MS => Urgency::Now,
        Some(_) => Urgency::Soon,
        None => Urgency::Later,
    };
    let why = if stencil.dried_out {
        "why-dried"
    } else if used {
        "why-printed"
    } else {
        "why-unclear"
    };
    let strokes = words.number(stencil.strokes_since_wash);
    let about = html! {
        p { strong { (place_words(words, &stencil.place.value)) } }
        @if let Some(due) = due {
            p {
                @if due < now { (words.say("overdue-since")) } @else { (words.say("by-when")) }
                " " strong { (words.when(due)) }
            }
        }
        p { (words.tell(why, [("strokes", strokes.into())])) " " (event_link(stencil.cleanliness.because)) }
    };
    let what = words.tell("do-wash", [("stencil", code.as_str().into())]);
    Some(Task { urgency, by: due, to: path(&["stencils", code.as_str()]), what, about })
}

fn to_find(words: &Words, code: &StencilCode, stencil: &Stencil) -> Option<Task> {
    if stencil.place.value != Place::Unknown {
        return None;
    }
    let about = html! {
        p {
            (words.say("lost-since")) " " (words.when(stencil.place.since)) " "
            (event_link(stencil.place.because))
        }
    };
    let what = words.tell("do-find", [("stencil", code.as_str().into())]);
    let to = path(&["stencils", code.as_str()]);
    Some(Task { urgency: Urgency::Soon, by: None, to, what, about })
}

fn held(words: &Words, code: &StencilCode, stencil: &Stencil) -> Option<Task> {
    let hold = stencil.hold.as_ref()?;
    let about = html! {
        p { (hold.value.why) }
        p.quiet { (hold.value.by) ", " (words.when(hold.since)) " " (event_link(hold.because)) }
    };
    let what = words.tell("do-decide-hold", [("stencil", code.as_str().into())]);
    let to = path(&["stencils", code.as_str()]);
    Some(Task { urgency: Urgency::Later, by: None, to, what, about })
}

/// A lost link, and each fault the machine tells of.
fn at_machine(words: &Words, site: &Site, name: &MachineName) -> Vec<Task> {
    let Some(machine) = site.state().machines.get(name) else { return Vec::new() };
    let task = |key: &str, detail: &str, since: Option<Timestamp>| Task {
        urgency: Urgency::Soon,
        by: None,
        to: path(&["machines", name.as_str()]),
        what: words.tell(key, [("machine", name.as_str().into())]),
        about: html! {
            p { (detail) }
            @if let Some(since) = since { p.quiet { (words.say("since")) " " (words.when(since)) } }
        },
    };
    let lost = match &machine.link {
        LinkState::Down { why, since } => Some(task("do-link", why, Some(*since))),
        _ => None,
    };
    let faults = machine.faults.iter();
    let faults = faults.map(|(code, said)| task("do-fault", &format!("{code}: {said}"), None));
    lost.into_iter().chain(faults).collect()
}

/// A printer that holds a stencil with which it may not print.
fn stopped_printer(words: &Words, site: &Site, name: &MachineName, now: Timestamp) -> Option<Task> {
    let machine = site.state().machines.get(name)?;
    let idle = |reason: &Reason| matches!(reason, Reason::NothingSeated);
    if site.plant().kind(name) != MachineKind::Printer || machine.link != LinkState::Up {
        return None;
    }
    let decision = site.print_decision(name, now);
    if decision.permitted() || decision.reasons.iter().all(|cause| idle(&cause.reason)) {
        return None;
    }
    let stencil = decision.stencil.as_ref().map_or("–", StencilCode::as_str);
    let parts = [("machine", name.as_str().into()), ("stencil", stencil.into())];
    Some(Task {
        urgency: Urgency::Now,
        by: machine.seat.as_ref().map(|seat| seat.since),
        to: path(&["machines", name.as_str()]),
        what: words.tell("do-printer", parts),
        about: reasons(words, &decision.reasons),
    })
}

/// Alarms that nobody acknowledged, together: urgent as the most urgent of them.
fn alarms(words: &Words, standing: &[ActiveAlarm]) -> Option<Task> {
    let open = standing.iter().filter(|alarm| alarm.state == AlarmState::Unacknowledged);
    let open: Vec<&ActiveAlarm> = open.collect();
    let most = open.iter().map(|alarm| alarm.priority).max()?;
    let count = words.number(open.len() as u64);
    Some(Task {
        urgency: if most >= Priority::High { Urgency::Now } else { Urgency::Soon },
        by: open.iter().map(|alarm| alarm.since).min(),
        to: "/alarms".to_owned(),
        what: words.tell("do-alarms", [("count", count.into())]),
        about: html! {
            ul {
                @for alarm in open.iter().take(5) {
                    li { (super::alarms::name(words, alarm)) }
                }
            }
        },
    })
}

/// Strokes that nobody could attribute, together by machine.
fn unattributed(words: &Words, site: &Site) -> Vec<Task> {
    let mut open: BTreeMap<&MachineName, u64> = BTreeMap::new();
    for strokes in site.state().unattributed.values() {
        *open.entry(&strokes.machine).or_default() += strokes.left;
    }
    let task = |(machine, left): (&MachineName, u64)| Task {
        urgency: Urgency::Later,
        by: None,
        to: "/unattributed".to_owned(),
        what: words.tell("do-assign", [("strokes", words.number(left).into())]),
        about: html! { p { (words.tell("made-at", [("machine", machine.as_str().into())])) } },
    };
    open.into_iter().map(task).collect()
}

/// The last refusal of each stencil and question, unless it was permitted since.
fn refused(recent: &[Arc<Recorded>], since: Timestamp) -> Vec<&Recorded> {
    let mut last: BTreeMap<(Option<&StencilCode>, Rule), &Recorded> = BTreeMap::new();
    for recorded in recent.iter().filter(|recorded| recorded.fact.at >= since) {
        if let Event::Decided { decision, .. } = &recorded.fact.event
            && decision.rule != Rule::Print
        {
            last.entry((decision.stencil.as_ref(), decision.rule)).or_insert(recorded);
        }
    }
    let mut refused: Vec<&Recorded> = last
        .into_values()
        .filter(|recorded| decided(recorded).is_some_and(|d| !d.permitted()))
        .collect();
    refused.sort_by_key(|recorded| std::cmp::Reverse(recorded.position));
    refused
}

fn decided(recorded: &Recorded) -> Option<&Decision> {
    match &recorded.fact.event {
        Event::Decided { decision, .. } => Some(decision),
        _ => None,
    }
}

fn refusals(words: &Words, refused: &[&Recorded]) -> Markup {
    html! {
        section aria-labelledby="refused" {
            h2 #refused {
                (words.say("worklist-refused")) span.count { (words.number(refused.len() as u64)) }
            }
            @if refused.is_empty() { p.quiet { (words.say("worklist-refused-nothing")) } }
            ol.tasks {
                @for recorded in refused.iter().take(SHOWN) {
                    @if let Some(decision) = decided(recorded) {
                        li {
                            h3 {
                                (words.say(&format!("may-{}-refused", decision.rule.as_str()))) ": "
                                @if let Some(code) = &decision.stencil {
                                    (name_link("stencils", code.as_str()))
                                } @else { (text("–")) }
                            }
                            (reasons(words, &decision.reasons))
                            p.quiet {
                                (words.when(recorded.fact.at))
                                @if let Some(by) = &decision.by { ", " (by) }
                                " " (event_link(recorded.position))
                            }
                        }
                    }
                }
            }
        }
    }
}
