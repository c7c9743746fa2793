//! The page for a handheld scanner: one field, one big answer, the next action.
//!
//! A scanner is a keyboard that ends with Enter. Whatever is scanned is kept until, in any order,
//! it makes a question: a stencil and an order ask to take it, a stencil and a slot to store it, a
//! stencil and a printer or washer say that it is in there.

mod question;
mod verdict;

use axum::extract::State;
use axum::response::Response;
use maud::{Markup, html};
use stencilward_domain::site::Site;
use stencilward_domain::stencil::Stencil;
use stencilward_domain::time::Timestamp;

use super::forms::{Filling, Given, form};
use super::layout::{Page, shown, stopping};
use super::shapes;
use super::words::Words;
use crate::Surface;
use question::{Question, Scanned};
use verdict::Verdict;

/// `GET /scan`.
pub(crate) async fn scan(words: Words) -> Response {
    page(&words, &Question::default(), &Given::default(), &html! {})
}

/// `POST /scan`: what was scanned is added to what was scanned before.
pub(crate) async fn scanned(
    State(surface): State<Surface>,
    words: Words,
    given: Given,
) -> Result<Response, Response> {
    let mut question = Question::kept(&given);
    let text = given.text("scan").to_owned();
    if text.is_empty() && given.text("do").is_empty() {
        return Ok(page(&words, &question, &given, &html! {}));
    }
    let (scanned, known) = surface
        .site
        .look(move |site, _| {
            let scanned = if text.is_empty() { None } else { Some(Scanned::of(site, &text)) };
            (scanned, text)
        })
        .await
        .map_err(stopping(&words))?;
    if let Some(scanned) = scanned
        && !question.add(scanned)
    {
        let answer = verdict::unknown(&words, &known);
        return Ok(page(&words, &question, &given, &answer));
    }
    let Ok(by) = given.by(&words) else {
        let answer = verdict::nobody(&words);
        return Ok(page(&words, &question, &given, &answer));
    };
    if let Some(request) = question.request(given.text("do"), &by)
        && let Some(stencil) = question.stencil
    {
        let verdict = Verdict::of(&surface, &words, &given, stencil, request).await?;
        let answer = verdict.shown(&words);
        return Ok(page(&words, &Question::default(), &given, &answer));
    }
    let wanted = question.stencil.clone();
    let look = move |site: &Site, now: Timestamp| {
        let stencil = wanted.and_then(|code| site.state().stencils.get(&code).cloned());
        (stencil, now)
    };
    let (stencil, now) = surface.site.look(look).await.map_err(stopping(&words))?;
    let answer = next(&words, &question, stencil.as_ref(), now);
    Ok(page(&words, &question, &given, &answer))
}

/// What is known so far, and what to scan next.
fn next(words: &Words, question: &Question, stencil: Option<&Stencil>, now: Timestamp) -> Markup {
    html! {
        section.verdict.ask role="status" {
            h2 { (question.name()) }
            @if let Some(stencil) = stencil { (shapes::condition(words, stencil, now)) }
            p { strong { (words.say(question.next_key())) } }
        }
    }
}

fn page(words: &Words, question: &Question, given: &Given, answer: &Markup) -> Response {
    let title = words.say("scan-title");
    let kept = Given(vec![("by".to_owned(), given.text("by").to_owned())]);
    let filling = Filling { given: Some(&kept), ..Filling::empty(words, "scan") };
    let begun = question.stencil.is_some() || !question.name().is_empty();
    let main = html! {
        h1 { (title) }
        (answer)
        (form(words, "/scan", &html! {
            (question.hidden())
            p.field {
                label for="code" { (words.say("scan-field")) }
                // Needed, so that a scanner that ends with two Enters does not wipe the answer away.
                input #code name="scan" type="text" value="" required autofocus autocomplete="off"
                    autocapitalize="characters" spellcheck="false" enterkeyhint="send";
            }
            (filling.by())
            div.actions {
                button type="submit" { (words.say("scan-send")) }
                @if question.stencil.is_some() {
                    button.plain type="submit" formnovalidate name="do" value="take" { (words.say("scan-take")) }
                    button.plain type="submit" formnovalidate name="do" value="store" { (words.say("scan-store")) }
                    button.plain type="submit" formnovalidate name="do" value="wash" { (words.say("scan-wash")) }
                }
                @if begun { a.go href="/scan" { (words.say("scan-anew")) } }
            }
        }))
        p.quiet { (words.say("scan-how")) }
    };
    shown(words, &Page { place: "scan", title, live: None, main })
}
