//! The shift's worklist: what to do next, the most urgent first.
//!
//! Each entry begins with what to do, for somebody who has only time for its first words; then by
//! when, where, and why. How soon it must be done decides in which of three lists it stands.

mod refused;
mod task;

use std::collections::BTreeMap;

use axum::extract::State;
use axum::response::Response;
use maud::{Markup, html};
use stencilward_domain::alarm::{ActiveAlarm, AlarmState, Priority};
use stencilward_domain::machine::LinkState;
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::place::Place;
use stencilward_domain::plant::MachineKind;
use stencilward_domain::reason::Reason;
use stencilward_domain::site::Site;
use stencilward_domain::stencil::{Cleanliness, Stencil};
use stencilward_domain::time::Timestamp;

use refused::{refusals, refused};
use task::{Matter, Task, Urgency, Wash};

use super::layout::{Page, shown, stopping, unread};
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

/// `GET /`.
pub(crate) async fn worklist(
    State(surface): State<Surface>,
    words: Words,
) -> Result<Response, Response> {
    let look = surface.site.look(|site, now| (tasks(site, now), now));
    let (mut tasks, now) = look.await.map_err(stopping(&words))?;
    tasks.extend(alarms(&surface.alarms.standing()));
    let recent = surface.archive.recent(LOOK_BACK).await.map_err(unread(&words))?;
    let refused = refused(&recent, Timestamp(now.0 - SHIFT_MS));
    tasks.sort_by_key(|task| (task.urgency, task.by.is_none(), task.by));
    let title = words.say("worklist-title");
    let main = html! {
        h1 { (title) }
        p.actions { a.go.first href="/scan" { (words.say("scan-something")) } }
        @for urgency in Urgency::ALL { (list(&words, urgency, &tasks, now)) }
        (refusals(&words, &refused))
    };
    Ok(shown(&words, &Page { place: "worklist", title, live: Some(String::new()), main }))
}

fn list(words: &Words, urgency: Urgency, tasks: &[Task], now: Timestamp) -> Markup {
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
                    @for matter in tasks.iter().take(SHOWN).map(|task| &task.matter) {
                        li {
                            h3 { a href=(matter.to()) { (matter.what(words)) } }
                            (matter.about(words, now))
                        }
                    }
                }
            }
        }
    }
}

fn tasks(site: &Site, now: Timestamp) -> Vec<Task> {
    let mut tasks = Vec::new();
    for (code, stencil) in &site.state().stencils {
        if stencil.retired.is_none() {
            tasks.extend(to_wash(site, code, stencil, now));
            tasks.extend(to_find(code, stencil));
            tasks.extend(held(code, stencil));
        }
    }
    for name in site.plant().machines.keys().filter(|name| !site.plant().on_trial(name)) {
        tasks.extend(at_machine(site, name));
        tasks.extend(stopped_printer(site, name, now));
    }
    tasks.extend(unattributed(site));
    tasks
}

fn to_wash(site: &Site, code: &StencilCode, stencil: &Stencil, now: Timestamp) -> Option<Task> {
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
    let matter = Matter::Wash(Wash {
        stencil: code.clone(),
        place: stencil.place.value.clone(),
        due,
        why,
        strokes: stencil.strokes_since_wash,
        because: stencil.cleanliness.because,
    });
    Some(Task { urgency, by: due, matter })
}

fn to_find(code: &StencilCode, stencil: &Stencil) -> Option<Task> {
    let place = &stencil.place;
    let matter = Matter::Find { stencil: code.clone(), since: place.since, because: place.because };
    (place.value == Place::Unknown).then_some(Task { urgency: Urgency::Soon, by: None, matter })
}

fn held(code: &StencilCode, stencil: &Stencil) -> Option<Task> {
    let matter = Matter::Hold { stencil: code.clone(), hold: stencil.hold.clone()? };
    Some(Task { urgency: Urgency::Later, by: None, matter })
}

/// A lost link, and each fault the machine tells of.
fn at_machine(site: &Site, name: &MachineName) -> Vec<Task> {
    let Some(machine) = site.state().machines.get(name) else { return Vec::new() };
    let name = || name.clone();
    let lost = match &machine.link {
        LinkState::Down { why, since } => {
            Some(Matter::Link { machine: name(), why: why.clone(), since: *since })
        }
        _ => None,
    };
    let faults = machine.faults.iter().map(|(code, said)| Matter::Fault {
        machine: name(),
        code: code.clone(),
        said: said.clone(),
    });
    let matters = lost.into_iter().chain(faults);
    matters.map(|matter| Task { urgency: Urgency::Soon, by: None, matter }).collect()
}

/// A printer that holds a stencil with which it may not print.
fn stopped_printer(site: &Site, name: &MachineName, now: Timestamp) -> Option<Task> {
    let machine = site.state().machines.get(name)?;
    let idle = |reason: &Reason| matches!(reason, Reason::NothingSeated);
    if site.plant().kind(name) != MachineKind::Printer || machine.link != LinkState::Up {
        return None;
    }
    let decision = site.print_decision(name, now);
    if decision.permitted() || decision.reasons.iter().all(|cause| idle(&cause.reason)) {
        return None;
    }
    let by = machine.seat.as_ref().map(|seat| seat.since);
    let matter = Matter::Printer { machine: name.clone(), decision };
    Some(Task { urgency: Urgency::Now, by, matter })
}

/// Alarms that nobody acknowledged, together: urgent as the most urgent of them.
fn alarms(standing: &[ActiveAlarm]) -> Option<Task> {
    let open = standing.iter().filter(|alarm| alarm.state == AlarmState::Unacknowledged);
    let open: Vec<&ActiveAlarm> = open.collect();
    let most = open.iter().map(|alarm| alarm.priority).max()?;
    let urgency = if most >= Priority::High { Urgency::Now } else { Urgency::Soon };
    let by = open.iter().map(|alarm| alarm.since).min();
    Some(Task { urgency, by, matter: Matter::alarms(&open) })
}

/// Strokes that nobody could attribute, together by machine.
fn unattributed(site: &Site) -> Vec<Task> {
    let mut open: BTreeMap<&MachineName, u64> = BTreeMap::new();
    for strokes in site.state().unattributed.values() {
        *open.entry(&strokes.machine).or_default() += strokes.left;
    }
    let task = |(machine, strokes): (&MachineName, u64)| Task {
        urgency: Urgency::Later,
        by: None,
        matter: Matter::Assign { machine: machine.clone(), strokes },
    };
    open.into_iter().map(task).collect()
}
