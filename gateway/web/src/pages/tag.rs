//! The tag on a stencil's frame: its code for scanners and for eyes, and why it is on hold.

use axum::extract::{Path, State};
use axum::http::header;
use axum::response::{IntoResponse as _, Response};
use datamatrix::{DataMatrix, SymbolList};
use maud::{Markup, html};
use stencilward_domain::names::StencilCode;
use stencilward_domain::stencil::Stencil;

use super::layout::{Page, go, missing, path, shown, stopping};
use super::stencils::what;
use super::words::Words;
use crate::Surface;

/// Light modules around the symbol: the quiet zone (ISO/IEC 16022, one module at the least).
const QUIET: usize = 2;

/// The code as Data Matrix ECC 200 (ISO/IEC 16022), one path. None when it is too long for one.
fn symbol(code: &str) -> Option<Markup> {
    let matrix = DataMatrix::encode_str(code, SymbolList::default()).ok()?;
    let bitmap = matrix.bitmap();
    let (wide, high) = (bitmap.width() + 2 * QUIET, bitmap.height() + 2 * QUIET);
    let dark: String =
        bitmap.pixels().map(|(x, y)| format!("M{} {}h1v1h-1z", x + QUIET, y + QUIET)).collect();
    Some(html! {
        svg xmlns="http://www.w3.org/2000/svg" viewBox={ "0 0 " (wide) " " (high) } role="img" aria-label=(code) {
            rect width=(wide) height=(high) fill="#fff" {}
            path d=(dark) fill="#000" {}
        }
    })
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
            div { @if let Some(symbol) = symbol(code) { (symbol) } @else { p { (words.say("tag-too-long")) } } }
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
    let symbol = symbol(stencil.spec.stencil.as_str());
    let symbol = symbol.ok_or_else(|| missing(&words, "stencil", &code))?;
    Ok(([(header::CONTENT_TYPE, "image/svg+xml")], symbol.into_string()).into_response())
}
