//! Strokes that nobody could attribute: whose they are, or that they are nobody's.

use axum::extract::{Path, State};
use axum::http::StatusCode;
use axum::response::Response;
use maud::{Markup, html};
use stencilward_domain::event::Position;
use stencilward_domain::names::StencilCode;
use stencilward_domain::site::{Reply, Request};
use stencilward_domain::state::Unattributed;

use super::forms::{Fault, Filling, Given, ask, done, form};
use super::layout::{Page, answer, event_link, missing, name_link, stopping};
use super::words::Words;
use crate::Surface;

/// Entries shown at once; the oldest come first, and the next follow as these are dealt with.
const SHOWN: usize = 25;

/// `GET /unattributed`.
pub(crate) async fn unattributed(
    State(surface): State<Surface>,
    words: Words,
) -> Result<Response, Response> {
    page(&surface, &words, None).await
}

/// `POST /unattributed/{event}/assign`.
pub(crate) async fn assign(
    State(surface): State<Surface>,
    words: Words,
    Path(number): Path<String>,
    given: Given,
) -> Result<Response, Response> {
    let of = number.parse().map(Position).map_err(|_| missing(&words, "event", &number))?;
    let fault = match asked(&words, of, &given) {
        Err(fault) => fault,
        Ok(request) => match ask(&surface, &words, &given, request).await? {
            Reply::Refused(says) => Fault { field: "", says },
            _ => return Ok(done("/unattributed")),
        },
    };
    page(&surface, &words, Some((of, &given, &fault))).await
}

fn asked(words: &Words, of: Position, given: &Given) -> Result<Request, Fault> {
    let mut shares = Vec::new();
    for (code, strokes) in given.all("stencil").zip(given.all("strokes")) {
        if code.is_empty() || matches!(strokes, "" | "0") {
            continue;
        }
        let stencil = StencilCode::new(code);
        let stencil = stencil.map_err(|_| Fault { field: "", says: words.say("no-name") })?;
        let strokes = strokes.parse();
        let strokes = strokes.map_err(|_| Fault { field: "", says: words.say("no-count") })?;
        shares.push((stencil, strokes));
    }
    let none = matches!(given.text("write-off"), "" | "0");
    let write_off = if none { 0 } else { given.count(words, "write-off")? };
    if shares.is_empty() && none {
        return Err(Fault { field: "", says: words.say("unattributed-say") });
    }
    let why = given.needed(words, "why")?;
    Ok(Request::Assign { of, shares, write_off, why, by: given.by(words)? })
}

async fn page(
    surface: &Surface,
    words: &Words,
    sent: Option<(Position, &Given, &Fault)>,
) -> Result<Response, Response> {
    let look = surface.site.look(|site, _| {
        let open = &site.state().unattributed;
        let shown = open.iter().take(SHOWN).map(|(event, open)| (*event, open.clone()));
        (shown.collect::<Vec<_>>(), open.len())
    });
    let (open, count) = look.await.map_err(stopping(words))?;
    let title = words.say("unattributed-title");
    let main = html! {
        h1 { (title) span.count { (words.number(count as u64)) } }
        p { (words.say("unattributed-means")) }
        @if open.is_empty() { p { strong { (words.say("unattributed-nothing")) } } }
        @for (event, open) in &open {
            @let mine = sent.filter(|(of, ..)| of == event);
            (entry(words, *event, open, mine.map(|(_, given, fault)| (given, fault))))
        }
        p.quiet { (words.say("unattributed-correct")) }
    };
    let status = if sent.is_some() { StatusCode::CONFLICT } else { StatusCode::OK };
    let live = sent.is_none().then(|| "machine/".to_owned());
    Ok(answer(words, status, &Page { place: "unattributed", title, live, main }))
}

fn entry(
    words: &Words,
    event: Position,
    open: &Unattributed,
    sent: Option<(&Given, &Fault)>,
) -> Markup {
    let id = format!("u{}", event.0);
    let filling = Filling {
        words,
        form: &id,
        given: sent.map(|(given, _)| given),
        fault: sent.map(|(_, fault)| fault),
    };
    let parts =
        [("strokes", words.number(open.left).into()), ("machine", open.machine.as_str().into())];
    let why = serde_json::to_value(open.why).ok();
    let why = why.as_ref().and_then(|why| why.as_str()).unwrap_or_default();
    let only = (open.candidates.len() == 1).then_some(open.left);
    let candidates = open.candidates.iter().map(|code| (code.as_str(), only));
    let rows: Vec<(&str, Option<u64>)> = candidates.chain([("", None)]).collect();
    html! {
        section.decision aria-labelledby=(id) {
            h2 #(id) { (words.tell("unattributed-entry", parts)) " " (event_link(event)) }
            p { (words.say(&format!("word-why-{why}"))) }
            p.quiet {
                (words.when(open.since)) " – " (words.when(open.until)) " · "
                (name_link("machines", open.machine.as_str()))
            }
            (form(words, &format!("/unattributed/{}/assign", event.0), &html! {
                (filling.fault())
                @for (at, (code, strokes)) in rows.iter().enumerate() {
                    div.filter {
                        (part(words, &id, at, "stencil", "text", code))
                        (part(words, &id, at, "strokes", "number", &strokes.map(|s| s.to_string()).unwrap_or_default()))
                    }
                }
                (filling.field("write-off", "number", false))
                (filling.field("why", "text", true))
                (filling.by())
                (filling.send("unattributed-assign"))
            }))
        }
    }
}

/// One of several fields of a name.
fn part(words: &Words, form: &str, at: usize, name: &str, kind: &str, value: &str) -> Markup {
    let id = format!("{form}-{name}-{at}");
    html! {
        p.field {
            label for=(id) { (words.say(&format!("field-{name}"))) }
            input #(id) name=(name) type=(kind) value=(value) min=[(kind == "number").then_some("0")] autocomplete="off";
        }
    }
}
