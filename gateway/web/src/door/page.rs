//! The pages of the door: plain HTML, one form each, without style or script. Every word that is
//! shown is in [`Words`], ready for a catalogue.

use std::fmt::Write as _;

use axum::http::{StatusCode, header};
use axum::response::{Html, IntoResponse, Response};

/// What the pages say.
pub(super) struct Words {
    language: &'static str,
    site: &'static str,
    sign_in: &'static str,
    confirm: &'static str,
    secret: &'static str,
    name: &'static str,
    own: &'static str,
    own_pin: &'static str,
    second_name: &'static str,
    second: &'static str,
    new: &'static str,
    new_hint: &'static str,
    send: &'static str,
}

/// In English.
pub(super) const WORDS: Words = Words {
    language: "en",
    site: "Stencilward",
    sign_in: "Sign in",
    confirm: "Confirm that it is you",
    secret: "Change your password",
    name: "Name",
    own: "Password",
    own_pin: "Password, or PIN at a shared station",
    second_name: "Name of a second person, where one is needed",
    second: "Their password or PIN",
    new: "New password",
    new_hint: "12 to 128 characters, such as four words that do not belong together",
    send: "Continue",
};

/// One field of a form.
struct Field {
    id: &'static str,
    label: &'static str,
    hint: Option<&'static str>,
    secret: bool,
    needed: bool,
    complete: &'static str,
}

const fn field(id: &'static str, label: &'static str, complete: &'static str) -> Field {
    Field { id, label, hint: None, secret: true, needed: true, complete }
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

    fn title(self, words: &Words) -> &'static str {
        match self {
            Self::SignIn => words.sign_in,
            Self::Confirm => words.confirm,
            Self::Secret => words.secret,
        }
    }

    fn fields(self, words: &Words) -> Vec<Field> {
        match self {
            Self::SignIn => vec![
                Field { secret: false, ..field("name", words.name, "username") },
                field("secret", words.own_pin, "current-password"),
            ],
            Self::Confirm => vec![
                field("secret", words.own_pin, "current-password"),
                Field {
                    secret: false,
                    needed: false,
                    ..field("second-name", words.second_name, "off")
                },
                Field { needed: false, ..field("second-secret", words.second, "off") },
            ],
            Self::Secret => vec![
                field("old", words.own, "current-password"),
                Field { hint: Some(words.new_hint), ..field("new", words.new, "new-password") },
            ],
        }
    }

    /// The page, with what went wrong, where it leads, and the hidden field of the session.
    pub(super) fn show(
        self,
        words: &Words,
        status: StatusCode,
        problem: Option<&str>,
        next: &str,
        hidden: Option<(&str, &str)>,
    ) -> Response {
        let mut body = String::new();
        let alert = problem.map(|problem| {
            format!("<p id=\"problem\" role=\"alert\"><strong>{}</strong></p>", escaped(problem))
        });
        for (at, field) in self.fields(words).iter().enumerate() {
            let _ = write!(body, "{}", field.html(at == 0, alert.is_some()));
        }
        for (name, value) in hidden.into_iter().chain([("next", next)]) {
            let value = escaped(value);
            let _ = write!(body, "<input type=\"hidden\" name=\"{name}\" value=\"{value}\">");
        }
        let (title, path) = (self.title(words), self.path());
        let (language, site, send) = (words.language, words.site, words.send);
        let alert = alert.unwrap_or_default();
        let html = format!(
            "<!DOCTYPE html>\n<html lang=\"{language}\"><head><meta charset=\"utf-8\">\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\">\
             <title>{title} – {site}</title></head><body><main><h1>{title}</h1>{alert}\
             <form method=\"post\" action=\"{path}\">{body}\
             <p><button type=\"submit\">{send}</button></p></form></main></body></html>\n"
        );
        (status, [(header::CONTENT_LANGUAGE, language)], Html(html)).into_response()
    }
}

impl Field {
    fn html(&self, first: bool, wrong: bool) -> String {
        let Self { id, label, complete, .. } = self;
        let kind = if self.secret { "password" } else { "text" };
        let mut html = format!("<p><label for=\"{id}\">{label}</label><br><input id=\"{id}\"");
        let _ = write!(html, " name=\"{id}\" type=\"{kind}\" autocomplete=\"{complete}\"");
        let mut described = Vec::new();
        described.extend(self.hint.map(|_| format!("{id}-hint")));
        described.extend((first && wrong).then(|| "problem".to_owned()));
        if !described.is_empty() {
            let _ = write!(html, " aria-describedby=\"{}\"", described.join(" "));
        }
        html += if self.needed { " required" } else { "" };
        html += if first { " autofocus" } else { "" };
        html += " autocapitalize=\"none\" spellcheck=\"false\">";
        if let Some(hint) = self.hint {
            let _ = write!(html, "<br><small id=\"{id}-hint\">{hint}</small>");
        }
        html + "</p>"
    }
}

/// As text of HTML, also within quotes.
fn escaped(text: &str) -> String {
    text.chars().fold(String::new(), |mut html, c| {
        match c {
            '&' => html += "&amp;",
            '<' => html += "&lt;",
            '>' => html += "&gt;",
            '"' => html += "&quot;",
            '\'' => html += "&#39;",
            c => html.push(c),
        }
        html
    })
}

/// Where somebody is led who first must sign in.
pub(super) fn sign_in_then(next: &str) -> String {
    let next: String = form_urlencoded::byte_serialize(local(next).as_bytes()).collect();
    format!("/sign-in?next={next}")
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

    #[test]
    fn what_is_shown_is_escaped() {
        assert_eq!(escaped(r#"<a href="x">'&"#), "&lt;a href=&quot;x&quot;&gt;&#39;&amp;");
    }
}
