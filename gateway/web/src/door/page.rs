//! The pages of the door, one form each.

use axum::http::StatusCode;
use axum::response::Response;
use maud::{Markup, html};

use crate::pages::layout::{self, answer};
use crate::pages::words::{Language, Words};
use crate::problem::Problem;

/// One field of a form.
struct Field {
    id: &'static str,
    /// A password or PIN.
    secret: bool,
    needed: bool,
    /// What a browser may fill in (WHATWG HTML, autofill).
    complete: &'static str,
    hint: bool,
}

const fn secret(id: &'static str, complete: &'static str) -> Field {
    Field { id, secret: true, needed: true, complete, hint: false }
}

const fn name(id: &'static str, complete: &'static str) -> Field {
    Field { secret: false, ..secret(id, complete) }
}

/// Which page it is.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Page {
    SignIn,
    Confirm,
    Secret,
}

impl Page {
    fn path(self) -> &'static str {
        match self {
            Self::SignIn => "/sign-in",
            Self::Confirm => "/confirm",
            Self::Secret => "/secret",
        }
    }

    /// What its words begin with.
    fn key(self) -> &'static str {
        self.path().trim_start_matches('/')
    }

    fn fields(self) -> Vec<Field> {
        match self {
            Self::SignIn => vec![name("name", "username"), secret("secret", "current-password")],
            Self::Confirm => vec![
                secret("secret", "current-password"),
                Field { needed: false, ..name("second-name", "off") },
                Field { needed: false, ..secret("second-secret", "off") },
            ],
            Self::Secret => vec![
                secret("old", "current-password"),
                Field { hint: true, ..secret("new", "new-password") },
            ],
        }
    }

    /// The page as it is first seen.
    pub(super) fn show(self, words: &Words, next: &str) -> Response {
        self.answer(words, StatusCode::OK, None, next)
    }

    /// The page again, with why the form was not taken.
    pub(super) fn again(self, words: &Words, problem: &Problem, next: &str) -> Response {
        let status = problem.status();
        // The problem's own words know more than the catalogue; they are English.
        let why = if words.language == Language::English {
            sentence(problem.detail())
        } else {
            let key = format!("door-{}", status.as_u16());
            words.if_known(&key, &fluent_bundle::FluentArgs::new()).unwrap_or_default()
        };
        self.answer(words, status, Some(&why), next)
    }

    fn answer(
        self,
        words: &Words,
        status: StatusCode,
        problem: Option<&str>,
        next: &str,
    ) -> Response {
        let title = words.say(&format!("{}-title", self.key()));
        let fields = self.fields();
        let main = html! {
            h1 { (title) }
            p { (words.say(&format!("{}-means", self.key()))) }
            form method="post" action=(self.path()) {
                @if let Some(problem) = problem { p.fault #problem role="alert" { (problem) } }
                @for (at, field) in fields.iter().enumerate() {
                    (field.shown(words, at == 0, problem.is_some()))
                }
                @for (name, value) in words.who.hidden_field().into_iter().chain([("next", next)]) {
                    input type="hidden" name=(name) value=(value);
                }
                p { button type="submit" { (title) } }
            }
        };
        // Who is not in yet has nowhere to go.
        let place = if self == Self::SignIn { layout::OUTSIDE } else { "" };
        answer(words, status, &layout::Page { place, title, live: None, main })
    }
}

impl Field {
    fn shown(&self, words: &Words, first: bool, wrong: bool) -> Markup {
        let hint = format!("{}-hint", self.id);
        let mut described = Vec::new();
        described.extend(self.hint.then_some(hint.as_str()));
        described.extend((first && wrong).then_some("problem"));
        let described = described.join(" ");
        html! {
            p.field {
                label for=(self.id) {
                    (words.say(&format!("field-{}", self.id)))
                    @if !self.needed { " " small { (words.say("optional")) } }
                }
                input #(self.id) name=(self.id) type=(if self.secret { "password" } else { "text" })
                    required[self.needed] autofocus[first] autocomplete=(self.complete)
                    autocapitalize="none" spellcheck="false"
                    aria-describedby=[(!described.is_empty()).then_some(described)];
                @if self.hint { small #(hint) { (words.say("field-new-hint")) } }
            }
        }
    }
}

/// With a capital and a full stop.
fn sentence(text: &str) -> String {
    let mut letters = text.chars();
    let first = letters.next().map(|first| first.to_uppercase().to_string()).unwrap_or_default();
    format!("{first}{}.", letters.as_str().trim_end_matches('.'))
}

/// Where somebody is led who first must sign in.
pub(super) fn sign_in_then(next: &str) -> String {
    then("/sign-in", next)
}

/// The page of this path, which leads on to `next`.
pub(crate) fn then(page: &str, next: &str) -> String {
    let next: String = form_urlencoded::byte_serialize(local(next).as_bytes()).collect();
    format!("{page}?next={next}")
}

/// A path of our own, whatever was asked for: no other host, nothing that breaks a header.
pub(super) fn local(next: &str) -> &str {
    let good = next.starts_with('/')
        && !next.starts_with("//")
        && next.len() <= 1_024
        && next.bytes().all(|byte| byte.is_ascii_graphic() && byte != b'\\');
    if good { next } else { "/" }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn one_is_led_to_our_own_pages_only() {
        for good in ["/", "/stencils/ST-1?a=b", "/a//b"] {
            assert_eq!(local(good), good);
        }
        let odd =
            ["", "//evil.example", "/\\evil.example", "https://evil.example", "x", "/a\r\nb: c"];
        for bad in odd.into_iter().chain(["/a b", "/\u{e9}"]) {
            assert_eq!(local(bad), "/", "{bad}");
        }
        assert_eq!(sign_in_then("/x?a=b&c"), "/sign-in?next=%2Fx%3Fa%3Db%26c");
    }
}
