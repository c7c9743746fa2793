//! What this is, what it is not, and how to use it.

use axum::response::Response;
use maud::html;

use super::layout::{Page, shown};
use super::words::Words;

/// `GET /about`.
pub(crate) async fn about(words: Words) -> Response {
    let title = words.say("about");
    let main = html! {
        h1 { (title) }
        p { (words.say("about-what")) }
        p { strong { (words.say("interlock-note")) } }
        p { (words.say("about-shapes")) }
        p { (words.tell("about-version", [("version", env!("CARGO_PKG_VERSION").into())])) }
    };
    shown(&words, &Page { place: "", title, live: None, main })
}
