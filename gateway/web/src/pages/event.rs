//! One event, so that every number can be traced to what made it.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use maud::{Markup, html};
use stencilward_domain::event::{Event, Position, Recorded};
use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::WashOutcome;
use stencilward_domain::site::{Correction, Reply, Wrong};
use stencilward_domain::state::{machine_of, stencil_of};

use super::forms::{Fault, Filling, Given, done, form};
use super::layout::{Page, answer, facts, missing, name_link, stopping, text, unread};
use super::telling;
use super::words::Words;
use crate::Surface;

/// `GET /events/{event}`.
pub(crate) async fn event(
    State(surface): State<Surface>,
    words: Words,
    Path(number): Path<String>,
) -> Result<Response, Response> {
    page(&surface, &words, &number, None).await
}

async fn page(
    surface: &Surface,
    words: &Words,
    number: &str,
    sent: Option<(&Given, &Fault)>,
) -> Result<Response, Response> {
    let none = || missing(words, "event", number);
    let position = Position(number.parse().map_err(|_| none())?);
    let found = surface.archive.event(position).await.map_err(unread(words))?;
    let recorded = found.ok_or_else(none)?;
    let fact = &recorded.fact;
    let title = words.tell("event-title", [("event", position.to_string().into())]);
    let stencil = stencil_of(&fact.event).map(|code| name_link("stencils", code.as_str()));
    let machine = machine_of(&fact.event).map(|name| name_link("machines", name.as_str()));
    let rows = [
        ("event-decided-at", Some(words.when(fact.at))),
        ("event-happened", fact.happened.map(|at| words.when(at))),
        ("event-machine-time", fact.machine_time.map(|at| words.when(at))),
        ("stencil", stencil),
        ("machine", machine),
        ("event-message", fact.identity.clone().map(text)),
        ("event-sender", fact.sender.as_ref().map(|sender| name_link("machines", sender.as_str()))),
    ];
    let main = html! {
        h1 { (title) }
        p { strong { (telling::event(words, &fact.event)) } }
        @if let Event::Decided { decision, .. } = &fact.event { (telling::reasons(words, &decision.reasons)) }
        (facts(rows.into_iter().map(|(key, value)| (words.say(key), value)).collect()))
        (correction(words, &recorded, sent))
        p.actions {
            @if position.0 > 1 { a.go href={ "/events/" (position.0 - 1) } { (words.say("event-before")) } }
            a.go href={ "/events/" (position.0 + 1) } { (words.say("event-after")) }
        }
    };
    let status = if sent.is_some() { StatusCode::CONFLICT } else { StatusCode::OK };
    Ok(answer(words, status, &Page { place: "", title, live: None, main }))
}

/// The form that corrects this event, where it can be corrected.
fn correction(words: &Words, recorded: &Recorded, sent: Option<(&Given, &Fault)>) -> Markup {
    let filling = Filling {
        words,
        form: "correct",
        given: sent.map(|(given, _)| given),
        fault: sent.map(|(_, fault)| fault),
    };
    let fields = match &recorded.fact.event {
        Event::StrokesBooked { stencil, count, .. }
        | Event::StrokesAssigned { stencil, count, .. } => html! {
            p { (words.say("correct-strokes-means")) }
            (filling.field_with("stencil", "text", true, stencil.as_str()))
            (filling.field_with("strokes", "number", true, &count.to_string()))
        },
        Event::WashEnded { outcome: WashOutcome::Passed, .. } => html! {
            p { (words.say("correct-wash-means")) }
            input type="hidden" name="wash" value="none";
        },
        _ => return html! {},
    };
    let action = format!("/events/{}/correct", recorded.position.0);
    if !words.who.may_post(&action) {
        return html! {};
    }
    html! {
        section aria-labelledby="correct-this" {
            h2 #correct-this { (words.say("correct")) }
            (form(words, &action, &html! {
                (filling.fault()) (fields)
                (filling.field("why", "text", true)) (filling.by()) (filling.send("correct"))
            }))
        }
    }
}

/// `POST /events/{event}/correct`.
pub(crate) async fn correct(
    State(surface): State<Surface>,
    words: Words,
    Path(number): Path<String>,
    given: Given,
) -> Result<Response, Response> {
    let of = number.parse().map(Position).map_err(|_| missing(&words, "event", &number))?;
    let fault = match asked(&words, &given) {
        Err(fault) => fault,
        Ok(correction) => {
            match surface.site.correct(of, correction).await.map_err(stopping(&words))? {
                Reply::Refused(says) => Fault { field: "", says },
                Reply::Done(event) => return Ok(done(&format!("/events/{}", event.0))),
                _ => return Ok(done(&format!("/events/{number}"))),
            }
        }
    };
    page(&surface, &words, &number, Some((&given, &fault))).await
}

fn asked(words: &Words, given: &Given) -> Result<Correction, Fault> {
    let what = if given.text("wash") == "none" {
        Wrong::Wash
    } else {
        let stencil = given.name(words, "stencil", StencilCode::new)?;
        Wrong::Strokes(vec![(stencil, given.count(words, "strokes")?)])
    };
    Ok(Correction { what, why: given.needed(words, "why")?, by: given.by(words)? })
}
