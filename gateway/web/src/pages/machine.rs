//! One machine: whether it is heard and believed, what is in it and may be done with that, what
//! happened, and what people can say about it.

mod actions;

use std::collections::BTreeMap;

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use maud::{Markup, html};
use stencilward_domain::alarm::Maintenance;
use stencilward_domain::decision::Decision;
use stencilward_domain::event::Recorded;
use stencilward_domain::machine::Slot;
use stencilward_domain::names::{MachineName, SlotName};
use stencilward_domain::plant::MachineKind;
use stencilward_domain::site::{Point, Quality, Site, Trial};
use stencilward_domain::state::machine_of;
use stencilward_domain::time::Timestamp;

use super::forms::Sent;
use super::layout::{Page, answer, missing, name_link, stopping, text, unread};
use super::machines::{Seen, faults, link, now_at, what};
use super::telling;
use super::words::Words;
use crate::Surface;

pub(crate) use actions::act;

/// Events looked back for what a machine did.
const LOOK_BACK: usize = 2_000;

/// Events of a machine shown.
const SHOWN: usize = 40;

/// One machine with all that its page shows.
struct Whole {
    seen: Seen,
    points: Vec<Point>,
    slots: BTreeMap<SlotName, Slot>,
    print: Option<Decision>,
    trial: Option<Trial>,
    maintained: Option<Maintenance>,
}

impl Whole {
    fn of(site: &Site, name: &MachineName, now: Timestamp) -> Option<Self> {
        let seen = Seen::of(site, name, now)?;
        let prints = seen.kind == MachineKind::Printer && !seen.on_trial;
        let machine = site.state().machines.get(name);
        Some(Self {
            points: site.points(name),
            slots: machine.map(|machine| machine.slots.clone()).unwrap_or_default(),
            print: prints.then(|| site.print_decision(name, now)),
            trial: site.trial(name).cloned(),
            maintained: site.state().alarms.maintenance.get(name).cloned(),
            seen,
        })
    }
}

/// `GET /machines/{name}`.
pub(crate) async fn machine(
    State(surface): State<Surface>,
    words: Words,
    Path(name): Path<String>,
) -> Result<Response, Response> {
    page(&surface, &words, &name, None).await
}

/// The machine's page, also after a form that was not taken.
async fn page(
    surface: &Surface,
    words: &Words,
    name: &str,
    sent: Option<Sent<'_>>,
) -> Result<Response, Response> {
    let none = || missing(words, "machine", name);
    let wanted = MachineName::new(name).map_err(|_| none())?;
    let asked = wanted.clone();
    let whole = surface.site.look(move |site, now| Whole::of(site, &asked, now));
    let whole = whole.await.map_err(stopping(words))?.ok_or_else(none)?;
    let (seen, maintained) = (&whole.seen, whole.maintained.as_ref());
    let recent = surface.archive.recent(LOOK_BACK).await.map_err(unread(words))?;
    let of_it = recent.iter().filter(|one| machine_of(&one.fact.event) == Some(&wanted));
    let recent: Vec<Recorded> = of_it.take(SHOWN).map(|one| Recorded::clone(one)).collect();
    let title = words.tell("machine-title", [("machine", wanted.as_str().into())]);
    let main = html! {
        h1 { (title) }
        p.quiet { (what(words, seen)) }
        (link(words, seen))
        @if let Some(begun) = maintained {
            p {
                strong { (words.say("maintenance")) } " " (begun.why) " "
                span.quiet { (begun.by) ", " (words.when(begun.since)) }
            }
        }
        (faults(words, seen))
        (now_at(words, seen))
        @if let Some(decision) = &whole.print {
            section aria-labelledby="printing" {
                h2 #printing { (words.say("machine-printing")) }
                (telling::decision(words, decision))
            }
        }
        div.columns { (heard(words, &whole)) (slots(words, &whole)) (trial(words, &whole)) }
        (actions::all(words, seen, maintained.is_some(), sent.as_ref()))
        section aria-labelledby="recent" {
            h2 #recent { (words.say("machine-recent")) }
            @if recent.is_empty() { p.quiet { (words.say("machine-recent-nothing")) } }
            (telling::history(words, &recent))
        }
    };
    let status = if sent.is_some() { StatusCode::CONFLICT } else { StatusCode::OK };
    let live = sent.is_none().then(|| format!("machine/{name}"));
    Ok(answer(words, status, &Page { place: "machines", title, live, main }))
}

/// Each thing that it tells: the value that counts, how old it is, and whether it is believed.
fn heard(words: &Words, whole: &Whole) -> Markup {
    let (seen, points) = (&whole.seen, &whole.points);
    html! {
        @if !seen.on_trial && !points.is_empty() {
            section {
                h2 { (words.say("machine-points")) }
                table.cards {
                    thead {
                        tr {
                            th scope="col" { (words.say("point")) }
                            th scope="col" { (words.say("value")) }
                            th scope="col" { (words.say("point-age")) }
                            th scope="col" { (words.say("point-quality")) }
                        }
                    }
                    tbody { @for point in points { (line(words, seen, point)) } }
                }
            }
        }
    }
}

fn line(words: &Words, seen: &Seen, point: &Point) -> Markup {
    let label = |key: &str| words.say(key);
    html! {
        tr {
            th scope="row" {
                (words.say(&format!("signal-{}", point.kind)))
                @if let Some(counter) = &point.counter { " " (counter) }
            }
            td data-label=(label("value")) { (value(words, seen, point)) }
            td data-label=(label("point-age")) {
                @match point.at {
                    Some(at) => { (words.span(seen.now.since(at))) " (" (words.when(at)) ")" },
                    None => "–",
                }
            }
            td data-label=(label("point-quality")) {
                @let quality = words.say(&format!("quality-{}", point.quality.as_str()));
                @if point.quality == Quality::Good { (quality) } @else { strong { (quality) } }
            }
        }
    }
}

fn value(words: &Words, seen: &Seen, point: &Point) -> Markup {
    let known = match point.kind {
        "stencil-seated" => seen.seat.as_ref().map(|code| name_link("stencils", code.as_str())),
        "machine-state" => seen.state.as_ref().map(|(_, word)| text(word.as_str())),
        _ => point.raw.map(|raw| text(words.number(raw))),
    };
    known.unwrap_or_else(|| text("–"))
}

fn slots(words: &Words, whole: &Whole) -> Markup {
    html! {
        @if !whole.slots.is_empty() {
            section {
                h2 { (words.say("machine-slots")) }
                table {
                    thead { tr { th scope="col" { (words.say("slot")) } th scope="col" { (words.say("slot-holds")) } } }
                    tbody {
                        @for (name, slot) in &whole.slots {
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
fn trial(words: &Words, whole: &Whole) -> Markup {
    html! {
        @if let (true, Some(trial)) = (whole.seen.on_trial, &whole.trial) {
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
                                td data-label=(words.say("last-value")) { (telling::carried(words, &heard.last)) }
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
