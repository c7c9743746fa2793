//! One stencil: what it is like, what may be done with it, what it did, and what can be done to it.
//!
//! Somebody comes here with one stencil in hand and one question. Condition and permissions stand
//! first, each with the events that made them so; what changes it waits folded up below.

mod actions;

use axum::extract::{Path, Query, State};
use axum::http::StatusCode;
use axum::response::Response;
use fluent_bundle::FluentArgs;
use maud::{Markup, html};
use serde::Deserialize;
use stencilward_domain::decision::Decision;
use stencilward_domain::event::Recorded;
use stencilward_domain::names::StencilCode;
use stencilward_domain::place::Place;
use stencilward_domain::site::Site;
use stencilward_domain::stencil::{Concession, Stencil};
use stencilward_domain::time::Timestamp;
use stencilward_domain::wear::WearLimits;

use super::forms::Sent;
use super::layout::{Page, answer, event_link, facts, go, missing, path, stopping, text, unread};
use super::stencils::{wear_words, what};
use super::words::Words;
use super::{shapes, telling};
use crate::Surface;
use crate::archive::{Coming, Outlook};

pub(crate) use actions::act;

/// Events shown of a history.
const HISTORY: usize = 60;

/// What the page shows of the present.
struct Seen {
    stencil: Stencil,
    limits: WearLimits,
    may: Vec<Decision>,
    now: Timestamp,
}

/// What the address says besides the stencil.
#[derive(Debug, Default, Deserialize)]
pub(crate) struct Told {
    /// The event by which something was just done.
    done: Option<u64>,
}

/// `GET /stencils/{code}`.
pub(crate) async fn stencil(
    State(surface): State<Surface>,
    words: Words,
    Path(code): Path<String>,
    Query(told): Query<Told>,
) -> Result<Response, Response> {
    page(&surface, &words, &code, told.done, None).await
}

/// The stencil's page, also after a form that was not taken.
async fn page(
    surface: &Surface,
    words: &Words,
    code: &str,
    done: Option<u64>,
    sent: Option<Sent<'_>>,
) -> Result<Response, Response> {
    let none = || missing(words, "stencil", code);
    let wanted = StencilCode::new(code).map_err(|_| none())?;
    let asked = wanted.clone();
    let seen = surface.site.look(move |site, now| see(site, &asked, now));
    let seen = seen.await.map_err(stopping(words))?.ok_or_else(none)?;
    let history = surface.archive.history(&wanted, HISTORY).await.map_err(unread(words))?;
    let sums = surface.archive.sums().map_err(unread(words))?;
    let outlook = sums.as_ref().and_then(|sums| sums.wear.outlooks.get(&wanted));
    let title = words.tell("stencil-title", [("stencil", wanted.as_str().into())]);
    let main = html! {
        h1 { (title) }
        @if let Some(done) = done {
            p.done role="status" { (words.say("done")) " " (event_link(stencilward_domain::event::Position(done))) }
        }
        p.quiet { (what(words, &seen.stencil)) }
        (shapes::condition(words, &seen.stencil, seen.now))
        div.columns {
            (permissions(words, &seen))
            (life(words, &seen, outlook))
        }
        (actions::all(words, &seen.stencil, seen.now, sent.as_ref()))
        (past(words, &history))
    };
    let status = if sent.is_some() { StatusCode::CONFLICT } else { StatusCode::OK };
    let live = sent.is_none().then(|| format!("stencil/{code}"));
    Ok(answer(words, status, &Page { place: "stencils", title, live, main }))
}

fn see(site: &Site, code: &StencilCode, now: Timestamp) -> Option<Seen> {
    let stencil = site.state().stencils.get(code)?.clone();
    let case = site.case(now);
    let place = &stencil.place.value;
    let rack = place.slot().and(place.machine());
    let mut may = vec![case.take(code, rack, None), case.store(code, None, None)];
    if let Place::Printer { machine } = place {
        may.insert(0, site.print_decision(machine, now));
    }
    let limits = site.plant().policy.wear_limits(&stencil.spec);
    Some(Seen { stencil, limits, may, now })
}

fn permissions(words: &Words, seen: &Seen) -> Markup {
    html! {
        section aria-labelledby="may" {
            h2 #may { (words.say("stencil-may")) }
            @for decision in &seen.may { (telling::decision(words, decision)) }
        }
    }
}

fn life(words: &Words, seen: &Seen, outlook: Option<&Outlook>) -> Markup {
    let stencil = &seen.stencil;
    let label = wear_words(words, stencil);
    let count = |number: u64| Some(text(words.number(number)));
    let cited = |body: Markup, event| Some(html! { (body) " " (event_link(event)) });
    let washed = stencil.last_wash.as_ref();
    let washed = washed.and_then(|wash| cited(words.when(wash.since), wash.because));
    let stroke = stencil.last_stroke.as_ref();
    let stroke = stroke.and_then(|stroke| cited(words.when(stroke.since), stroke.because));
    let tension = stencil.tension.as_ref().and_then(|tension| {
        cited(text(format!("{} N/cm", words.centi(tension.value))), tension.because)
    });
    let place =
        cited(text(shapes::place_words(words, &stencil.place.value)), stencil.place.because);
    let rows = [
        ("fact-place", place),
        ("fact-strokes-since-wash", count(stencil.strokes_since_wash)),
        ("fact-last-stroke", stroke),
        ("fact-last-wash", washed),
        ("fact-washes", count(stencil.washes)),
        ("fact-wipes", count(stencil.wipes)),
        ("fact-tension", tension),
        ("fact-band", cited(words.when(stencil.band.since), stencil.band.because)),
    ];
    html! {
        section aria-labelledby="life" {
            h2 #life { (words.say("stencil-life")) }
            (shapes::ruler(words, stencil.life_ratio(), seen.limits, &label))
            p { (label) }
            @if let Some(outlook) = outlook { (coming(words, outlook, seen.now)) }
            (concession(words, stencil))
            (facts(rows.into_iter().map(|(key, value)| (words.say(key), value)).collect()))
        }
    }
}

/// What is to come, with how far it may be off.
fn coming(words: &Words, outlook: &Outlook, now: Timestamp) -> Markup {
    html! {
        p { (words.say("forecast-reorder")) ": " (coming_words(words, &outlook.reorder)) }
        p { (words.say("forecast-stop")) ": " (coming_words(words, &outlook.stop)) }
        @if let Some(day) = outlook.order_by {
            p { (words.say("forecast-order-by")) ": " (order_by(words, day, now)) }
        }
    }
}

/// The day by which to order, and whether it has passed.
pub(crate) fn order_by(words: &Words, day: i32, now: Timestamp) -> Markup {
    let passed = i64::from(day) < now.0.div_euclid(86_400_000);
    html! {
        strong { (words.calendar_day(day)) }
        @if passed { " " strong { "(" (words.say("forecast-order-late")) ")" } }
    }
}

pub(crate) fn coming_words(words: &Words, coming: &Coming) -> String {
    match coming {
        Coming::Reached => words.say("coming-reached"),
        Coming::NoDay(why) => words.say(&format!("coming-{why}")),
        Coming::Expected { day, earliest, latest } => words.tell(
            "coming-expected",
            [
                ("day", words.calendar_day(*day).into()),
                ("earliest", words.calendar_day(*earliest).into()),
                ("latest", words.calendar_day(*latest).into()),
            ],
        ),
    }
}

fn concession(words: &Words, stencil: &Stencil) -> Markup {
    let Some(granted) = &stencil.concession else { return html! {} };
    html! { p { (concession_words(words, &granted.value)) " " (event_link(granted.because)) } }
}

/// How much of a concession is used, until when it holds, who granted it and why.
pub(crate) fn concession_words(words: &Words, granted: &Concession) -> String {
    let mut parts = FluentArgs::new();
    parts.set("used", words.number(granted.used));
    parts.set("strokes", words.number(granted.strokes));
    parts.set("by", granted.by.as_str());
    parts.set("why", granted.why.as_str());
    match granted.until {
        Some(until) => {
            parts.set("until", words.time(until));
            words.tell_all("concession-so-far", &parts)
        }
        None => words.tell_all("concession-without-end", &parts),
    }
}

fn past(words: &Words, history: &[Recorded]) -> Markup {
    html! {
        section aria-labelledby="history" {
            h2 #history { (words.say("stencil-history")) }
            (telling::history(words, history))
            @if history.len() == HISTORY {
                p.quiet { (words.tell("history-cut", [("count", HISTORY.to_string().into())])) }
            }
        }
    }
}

/// Where a stencil's action is sent.
fn action_path(code: &str, action: &str) -> String {
    path(&["stencils", code, action])
}

/// The way to the stencil's tag.
fn tag_link(words: &Words, code: &str) -> Markup {
    go(&path(&["stencils", code, "tag"]), &words.say("to-tag"))
}
