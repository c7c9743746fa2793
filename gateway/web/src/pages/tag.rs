//! The tag on a stencil's frame: its code for scanners and for eyes, and why it is on hold.

mod pdf;
mod symbol;

use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse as _, Response};
use maud::{Markup, html};
use stencilward_domain::names::StencilCode;
use stencilward_domain::stencil::Stencil;

use super::layout::{Page, go, missing, path, shown, stopping};
use super::stencils::what;
use super::words::Words;
use crate::Surface;
use symbol::Symbol;

/// The symbol as one path.
fn svg(symbol: &Symbol, code: &str) -> Markup {
    let Symbol { wide, high, dark } = symbol;
    let path: String = dark.iter().map(|(x, y)| format!("M{x} {y}h1v1h-1z")).collect();
    html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (wide) " " (high) } role="img" aria-label=(code) {
            rect width=(wide) height=(high) fill="#fff" {}
            path d=(path) fill="#000" {}
        }
    }
}

async fn found(surface: &Surface, words: &Words, code: &str) -> Result<Stencil, Response> {
    let none = || missing(words, "stencil", code);
    let wanted = StencilCode::new(code).map_err(|_| none())?;
    let look = surface.site.look(move |site, _| site.state().stencils.get(&wanted).cloned());
    look.await.map_err(stopping(words))?.ok_or_else(none)
}

/// `GET /stencils/{code}/tag`: to look at and print.
pub(crate) async fn tag(
    State(surface): State<Surface>,
    words: Words,
    Path(code): Path<String>,
) -> Result<Response, Response> {
    let stencil = found(&surface, &words, &code).await?;
    let code = stencil.spec.stencil.as_str();
    let title = words.tell("tag-title", [("stencil", code.into())]);
    let rated = [("rated", words.number(stencil.spec.rated_strokes).into())];
    let main = html! {
        h1 { (title) }
        div.tag {
            div { @if let Some(symbol) = Symbol::of(code) { (svg(&symbol, code)) } @else { p { (words.say("tag-too-long")) } } }
            div {
                p.code { (code) }
                p { (what(&words, &stencil)) }
                p { (words.tell("tag-rated", rated)) }
                @if let Some(hold) = &stencil.hold {
                    p { strong { (words.say("tag-hold")) } br; (hold.value.why) br; (hold.value.by) ", " (words.when(hold.since)) }
                }
            }
        }
        div.actions {
            (go(&path(&["stencils", code, "tag.pdf"]), &words.say("tag-pdf")))
            (go(&path(&["stencils", code, "tag.svg"]), &words.say("tag-svg")))
            (go(&path(&["stencils", code]), &words.say("tag-back")))
        }
        p.quiet { (words.say("tag-how")) }
    };
    Ok(shown(&words, &Page { place: "stencils", title, live: None, main }))
}

/// `GET /stencils/{code}/tag.svg`: the symbol alone.
pub(crate) async fn tag_svg(
    State(surface): State<Surface>,
    words: Words,
    Path(code): Path<String>,
) -> Result<Response, Response> {
    let stencil = found(&surface, &words, &code).await?;
    let code = stencil.spec.stencil.as_str();
    let symbol = Symbol::of(code).ok_or_else(|| missing(&words, "stencil", code))?;
    let symbol = svg(&symbol, code).into_string();
    Ok(([(header::CONTENT_TYPE, "image/svg+xml")], symbol).into_response())
}

/// `GET /stencils/{code}/tag.pdf`: the whole tag, as large as it is printed.
pub(crate) async fn tag_pdf(
    State(surface): State<Surface>,
    words: Words,
    Path(code): Path<String>,
) -> Result<Response, Response> {
    let stencil = found(&surface, &words, &code).await?;
    let code = stencil.spec.stencil.as_str().to_owned();
    let rated = [("rated", words.number(stencil.spec.rated_strokes).into())];
    let hold = stencil.hold.as_ref().map(|hold| {
        let who = format!("{}, {}", hold.value.by, words.time(hold.since));
        (words.say("tag-hold"), vec![hold.value.why.clone(), who])
    });
    let about = vec![what(&words, &stencil), words.tell("tag-rated", rated)];
    let too_long = words.say("tag-too-long");
    let symbol = Symbol::of(&code);
    let pdf = pdf::pdf(symbol.as_ref(), &pdf::Said { code, about, hold, too_long });
    Ok(([(header::CONTENT_TYPE, "application/pdf")], pdf).into_response())
}
