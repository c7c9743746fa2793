//! What every page has around it, and how it is answered.

use axum::http::StatusCode;
use axum::response::{Html, IntoResponse as _, Response};
use maud::{DOCTYPE, Markup, PreEscaped, html};

use super::forms::form;
use super::words::Words;
use crate::handle::Unavailable;

/// The pages in the order in which people need them: their paths and keys.
const PLACES: [(&str, &str); 7] = [
    ("/", "worklist"),
    ("/scan", "scan"),
    ("/stencils", "stencils"),
    ("/machines", "machines"),
    ("/alarms", "alarms"),
    ("/unattributed", "unattributed"),
    ("/wear", "wear"),
];

/// The place of who is not in yet: from there, nothing else is offered.
pub(crate) const OUTSIDE: &str = "outside";

/// A page without what is around it.
pub(crate) struct Page {
    /// Which entry of the navigation it belongs to.
    pub(crate) place: &'static str,
    pub(crate) title: String,
    /// It shows anew when a stream that begins so has changed; none when it stays as it is.
    pub(crate) live: Option<String>,
    pub(crate) main: Markup,
}

/// A path of so many parts, each safe in an address.
pub(crate) fn path(parts: &[&str]) -> String {
    let mut path = String::new();
    for part in parts {
        path.push('/');
        for byte in part.bytes() {
            match byte {
                b'-' | b'_' | b'.' | b'~' | b'0'..=b'9' | b'A'..=b'Z' | b'a'..=b'z' => {
                    path.push(char::from(byte));
                }
                byte => path.push_str(&format!("%{byte:02X}")),
            }
        }
    }
    path
}

/// The page, whole.
pub(crate) fn answer(words: &Words, status: StatusCode, page: &Page) -> Response {
    (status, Html(whole(words, page).into_string())).into_response()
}

/// The page, as it should be.
pub(crate) fn shown(words: &Words, page: &Page) -> Response {
    answer(words, StatusCode::OK, page)
}

fn whole(words: &Words, page: &Page) -> Markup {
    html! {
        (DOCTYPE)
        html lang=(words.language.tag()) {
            head {
                meta charset="utf-8";
                meta name="viewport" content="width=device-width, initial-scale=1";
                title { (page.title) " · " (words.site()) }
                link rel="stylesheet" href="/assets/page.css";
                link rel="icon" href="/assets/icon.svg" type="image/svg+xml";
                script src="/assets/page.js" defer {}
            }
            body.(page.place) {
                a.skip href="#main" { (words.say("skip")) }
                header {
                    p.site { (words.site()) }
                    (person(words))
                    @if page.place != OUTSIDE { (places(words, page.place)) }
                }
                main #main tabindex="-1" data-live=[page.live.as_deref()]
                    data-at=[page.live.as_ref().map(|_| words.head.0)] { (page.main) }
                footer {
                    p { (words.say("interlock-note")) }
                    p {
                        (words.tell("zone-note", [("zone", words.zone_name().into())])) " "
                        a href="/about" { (words.say("about")) }
                        @if words.who.name().is_some() {
                            " · " a href="/secret" { (words.say("secret-title")) }
                        }
                    }
                    p #stale hidden { (words.say("stale")) }
                }
            }
        }
    }
}

/// The ways to all pages.
fn places(words: &Words, here: &str) -> Markup {
    html! {
        nav aria-label=(words.say("nav")) {
            ul {
                @for (to, place) in PLACES {
                    li {
                        a href=(to) aria-current=[(place == here).then_some("page")] {
                            (words.say(&format!("nav-{place}")))
                        }
                    }
                }
            }
        }
    }
}

/// Who is signed in, and the way out.
fn person(words: &Words) -> Markup {
    let (Some(name), Some(role)) = (words.who.name(), words.who.role()) else { return html! {} };
    let role = words.say(&format!("is-{}", role.as_str()));
    html! {
        div.person {
            p { strong { (name) } ", " (role) }
            (form(words, "/sign-out", &html! {
                button.plain type="submit" { (words.say("sign-out")) }
            }))
        }
    }
}

/// A page that only says why there is no other.
pub(crate) fn trouble(words: &Words, status: StatusCode, title: &str, detail: &str) -> Response {
    let passes = status == StatusCode::SERVICE_UNAVAILABLE;
    let main = html! {
        h1 { (title) }
        p { (detail) }
        @if passes { p { a.go #again href="" { (words.say("try-again")) } } }
        p { a.go href="/" { (words.say("to-worklist")) } }
    };
    let page = Page { place: "", title: title.to_owned(), live: None, main };
    answer(words, status, &page)
}

/// A page for a name that is not known.
pub(crate) fn missing(words: &Words, kind: &str, name: &str) -> Response {
    let detail = words.tell(&format!("missing-{kind}"), [("name", name.into())]);
    trouble(words, StatusCode::NOT_FOUND, &words.say("missing"), &detail)
}

/// A page for when the gateway answers no more.
pub(crate) fn stopping(words: &Words) -> impl Fn(Unavailable) -> Response + use<'_> {
    |_| {
        let status = StatusCode::SERVICE_UNAVAILABLE;
        trouble(words, status, &words.say("stopping"), &words.say("stopping-detail"))
    }
}

/// A page for when the ledger cannot be read.
pub(crate) fn unread(words: &Words) -> impl Fn(crate::archive::Unread) -> Response + use<'_> {
    |error| {
        let status = StatusCode::SERVICE_UNAVAILABLE;
        let detail = words.tell("unread-detail", [("cause", error.0.into())]);
        trouble(words, status, &words.say("unread"), &detail)
    }
}

/// A link that looks like a thing to do.
pub(crate) fn go(to: &str, text: &str) -> Markup {
    html! { a.go href=(to) { (text) } }
}

/// A number that its event explains.
pub(crate) fn event_link(position: stencilward_domain::event::Position) -> Markup {
    html! { a.event href={ "/events/" (position.0) } { (position) } }
}

/// A stencil or machine by its name.
pub(crate) fn name_link(kind: &str, name: &str) -> Markup {
    html! { a href=(path(&[kind, name])) { (name) } }
}

/// A list of terms and what they are, those that are there.
pub(crate) fn facts(rows: Vec<(String, Option<Markup>)>) -> Markup {
    let shown = rows.into_iter().filter_map(|(term, value)| Some((term, value?)));
    html! {
        dl.facts {
            @for (term, value) in shown { div { dt { (term) } dd { (value) } } }
        }
    }
}

/// Text as it is, escaped.
pub(crate) fn text(text: impl Into<String>) -> Markup {
    let text: String = text.into();
    PreEscaped(html! { (text) }.into_string())
}
