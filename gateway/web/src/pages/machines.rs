//! Machines: whether each is heard, what it is at, and what to check where something is wrong.
//!
//! Whoever comes here looks for the one that is wrong: those come first, with the sentence that
//! says what to check; the others follow by name.

use std::cmp::Reverse;

use axum::extract::{Path, State};
use axum::response::Response;
use maud::{Markup, html};
use stencilward_domain::decision::Decision;
use stencilward_domain::event::Recorded;
use stencilward_domain::machine::{LinkState, Machine, Slot};
use stencilward_domain::names::MachineName;
use stencilward_domain::plant::MachineKind;
use stencilward_domain::site::{Site, Trial};
use stencilward_domain::state::machine_of;
use stencilward_domain::time::Timestamp;

use super::layout::{Page, facts, missing, name_link, shown, stopping, text, unread};
use super::telling;
use super::words::Words;
use crate::Surface;

/// Events looked back for what a machine did.
const LOOK_BACK: usize = 2_000;

/// Events of a machine shown.
const SHOWN: usize = 40;

/// One machine as pages show it.
struct Seen {
    name: MachineName,
    kind: MachineKind,
    line: Option<String>,
    on_trial: bool,
    machine: Machine,
    print: Option<Decision>,
    trial: Option<Trial>,
    now: Timestamp,
}

impl Seen {
    fn of(site: &Site, name: &MachineName, now: Timestamp) -> Option<Self> {
        let spec = site.plant().machines.get(name)?;
        let on_trial = site.plant().on_trial(name);
        let prints = spec.kind == MachineKind::Printer && !on_trial;
        Some(Self {
            name: name.clone(),
            kind: spec.kind,
            line: spec.line.clone(),
            on_trial,
            machine: site.state().machines.get(name).cloned().unwrap_or_default(),
            print: prints.then(|| site.print_decision(name, now)),
            trial: site.trial(name).cloned(),
            now,
        })
    }

    /// True when somebody should look at it.
    fn is_wrong(&self) -> bool {
        self.machine.link != LinkState::Up || !self.machine.faults.is_empty()
    }
}

/// `GET /machines`.
pub(crate) async fn machines(
    State(surface): State<Surface>,
    words: Words,
) -> Result<Response, Response> {
    let look = |site: &Site, now: Timestamp| {
        let names = site.plant().machines.keys();
        names.filter_map(|name| Seen::of(site, name, now)).collect::<Vec<_>>()
    };
    let mut all = surface.site.look(look).await.map_err(stopping(&words))?;
    all.sort_by_key(|seen| Reverse(seen.is_wrong()));
    let title = words.say("machines-title");
    let main = html! {
        h1 { (title) }
        @if all.is_empty() { p { (words.say("machines-nothing")) } }
        ul.tasks {
            @for seen in &all {
                li.wrong[seen.is_wrong()] {
                    h2 { (name_link("machines", seen.name.as_str())) }
                    p.quiet { (what(&words, seen)) }
                    (link(&words, seen))
                    (faults(&words, seen))
                    (now_at(&words, seen))
                }
            }
        }
    };
    let live = Some("machine/".to_owned());
    Ok(shown(&words, &Page { place: "machines", title, live, main }))
}

/// `GET /machines/{name}`.
pub(crate) async fn machine(
    State(surface): State<Surface>,
    words: Words,
    Path(name): Path<String>,
) -> Result<Response, Response> {
    let none = || missing(&words, "machine", &name);
    let wanted = MachineName::new(&name).map_err(|_| none())?;
    let asked = wanted.clone();
    let seen = surface.site.look(move |site, now| Seen::of(site, &asked, now));
    let seen = seen.await.map_err(stopping(&words))?.ok_or_else(none)?;
    let recent = surface.archive.recent(LOOK_BACK).await.map_err(unread(&words))?;
    let of_it = recent.iter().filter(|one| machine_of(&one.fact.event) == Some(&wanted));
    let recent: Vec<Recorded> = of_it.take(SHOWN).map(|one| Recorded::clone(one)).collect();
    let title = words.tell("machine-title", [("machine", wanted.as_str().into())]);
    let main = html! {
        h1 { (title) }
        p.quiet { (what(&words, &seen)) }
        (link(&words, &seen))
        (faults(&words, &seen))
        (now_at(&words, &seen))
        @if let Some(decision) = &seen.print { (telling::decision(&words, decision)) }
        div.columns { (counters(&words, &seen)) (slots(&words, &seen)) (trial(&words, &seen)) }
        section aria-labelledby="recent" {
            h2 #recent { (words.say("machine-recent")) }
            @if recent.is_empty() { p.quiet { (words.say("machine-recent-nothing")) } }
            (telling::history(&words, &recent))
        }
    };
    let live = Some(format!("machine/{name}"));
    Ok(shown(&words, &Page { place: "machines", title, live, main }))
}

fn what(words: &Words, seen: &Seen) -> String {
    let kind = words.say(&format!("kind-{}", seen.kind.as_str()));
    match &seen.line {
        Some(line) => format!("{kind} · {line}"),
        None => kind,
    }
}

/// Whether it is heard, in a shape and words.
fn link(words: &Words, seen: &Seen) -> Markup {
    let state = &seen.machine.link;
    let up = *state == LinkState::Up;
    html! {
        p.condition {
            span.chip.calm[up].stop[!up] {
                svg.shape viewBox="0 0 24 24" aria-hidden="true" {
                    path d="M2 12h7M15 12h7" {}
                    @if up { path d="M9 12h6" {} } @else { path d="M9 7v10M15 7v10" {} }
                }
                span { span.dimension { (words.say("link")) } " " strong { (words.say(&format!("link-{}", state.as_str()))) } }
            }
            @if seen.on_trial { span.chip.wait { span { strong { (words.say("on-trial")) } } } }
        }
        @if let LinkState::Down { why, since } = state {
            p { (why) }
            p.quiet {
                (words.say("since")) " " (words.when(*since)) " ("
                (words.span(seen.now.since(*since))) ")"
            }
        }
        @if *state == LinkState::NeverUp { p { (words.say("link-never-check")) } }
    }
}

fn faults(words: &Words, seen: &Seen) -> Markup {
    html! {
        @if !seen.machine.faults.is_empty() {
            h3 { (words.say("machine-faults")) }
            ul { @for (code, said) in &seen.machine.faults { li { strong { (code) } " " (said) } } }
        }
    }
}

fn now_at(words: &Words, seen: &Seen) -> Markup {
    let machine = &seen.machine;
    let state = machine.state.as_ref().map(|(state, word)| {
        let ours = words.say(&format!("word-state-{}", state.as_str()));
        text(if *word == state.as_str() { ours } else { format!("{ours} ({word})") })
    });
    let seat = machine.seat.as_ref();
    let strokes = |count: u64| (count > 0).then(|| text(words.number(count)));
    facts(vec![
        (words.say("machine-state"), state),
        (words.say("stencil"), seat.map(|seat| name_link("stencils", seat.code.as_str()))),
        (
            words.say("machine-order"),
            machine.order.as_ref().map(|order| text(order.order.as_str())),
        ),
        (words.say("machine-booked"), strokes(machine.booked)),
        (words.say("machine-unattributed"), strokes(machine.unattributed)),
    ])
}

/// Each counter with its value and how old it is.
fn counters(words: &Words, seen: &Seen) -> Markup {
    html! {
        @if !seen.machine.counters.is_empty() {
            section {
                h2 { (words.say("machine-counters")) }
                table {
                    thead {
                        tr {
                            th scope="col" { (words.say("counter")) }
                            th.number scope="col" { (words.say("value")) }
                            th scope="col" { (words.say("counter-kept")) }
                        }
                    }
                    tbody {
                        @for (name, counter) in &seen.machine.counters {
                            tr {
                                th scope="row" { (name.as_str()) }
                                td.number { (words.number(counter.known.raw)) }
                                td { (words.when(counter.at)) }
                            }
                        }
                    }
                }
            }
        }
    }
}

fn slots(words: &Words, seen: &Seen) -> Markup {
    html! {
        @if !seen.machine.slots.is_empty() {
            section {
                h2 { (words.say("machine-slots")) }
                table {
                    thead { tr { th scope="col" { (words.say("slot")) } th scope="col" { (words.say("slot-holds")) } } }
                    tbody {
                        @for (name, slot) in &seen.machine.slots {
                            tr {
                                th scope="row" { (name.as_str()) }
                                td {
                                    @match slot {
                                        Slot::Empty => (words.say("slot-empty")),
                                        Slot::Holds(code) => (name_link("stencils", code.as_str())),
                                        Slot::HoldsUnknown => (words.say("slot-unknown")),
                                    }
                                }
                            }
                        }
                    }
                }
            }
        }
    }
}

/// What a machine on trial said: each kind of signal with its last value, age and count.
fn trial(words: &Words, seen: &Seen) -> Markup {
    html! {
        @if let (true, Some(trial)) = (seen.on_trial, &seen.trial) {
            section {
                h2 { (words.say("trial-heard")) }
                p { (words.say("trial-means")) }
                table.cards {
                    thead {
                        tr {
                            th scope="col" { (words.say("signal")) }
                            th scope="col" { (words.say("last-value")) }
                            th scope="col" { (words.say("heard-at")) }
                            th.number scope="col" { (words.say("heard-count")) }
                        }
                    }
                    tbody {
                        @for ((kind, about), heard) in &trial.heard {
                            tr {
                                th scope="row" { (kind) " " (about) }
                                td data-label=(words.say("last-value")) { (serde_json::to_string(&heard.last).unwrap_or_default()) }
                                td data-label=(words.say("heard-at")) { (words.when(heard.at)) }
                                td.number data-label=(words.say("heard-count")) { (words.number(heard.count)) }
                            }
                        }
                    }
                }
            }
        }
    }
}
