//! Forms: what they ask, what was given, and which field is at fault.

use axum::Form;
use axum::extract::{FromRequest, Request};
use axum::response::{IntoResponse as _, Redirect, Response};
use maud::{Markup, html};
use stencilward_domain::asked::RequestKey;
use stencilward_domain::site::{Reply, Request as Asked};

use super::layout::{go, stopping};
use super::words::Words;
use crate::Surface;
use crate::door::{then, token};
use crate::repeat::of_form;

/// Longest free text, in characters.
const LONGEST_TEXT: usize = 500;

/// The field by which a form that is sent twice is known.
const ONCE: &str = "once";

/// What a form gave, in its order.
#[derive(Debug, Clone, Default)]
pub(crate) struct Given(pub(crate) Vec<(String, String)>);

/// Why a form was not taken.
#[derive(Debug, Clone)]
pub(crate) struct Fault {
    /// The field at fault; empty when it is none in particular.
    pub(crate) field: &'static str,
    pub(crate) says: String,
}

impl Given {
    /// What this field gave, without space around it; empty when nothing.
    pub(crate) fn text(&self, field: &str) -> &str {
        let given = self.0.iter().find(|(name, _)| name == field);
        given.map_or("", |(_, value)| value.trim())
    }

    /// Everything that fields of this name gave.
    pub(crate) fn all<'a>(&'a self, field: &'a str) -> impl Iterator<Item = &'a str> {
        self.0.iter().filter(move |(name, _)| name == field).map(|(_, value)| value.trim())
    }

    /// A text that must be there.
    pub(crate) fn needed(&self, words: &Words, field: &'static str) -> Result<String, Fault> {
        let text = self.text(field);
        if text.is_empty() {
            Err(Fault { field, says: words.say(&format!("needed-{field}")) })
        } else if text.chars().count() > LONGEST_TEXT {
            let parts = [("most", LONGEST_TEXT.into())];
            Err(Fault { field, says: words.tell("too-long", parts) })
        } else {
            Ok(text.to_owned())
        }
    }

    /// The key of what was sent; none where the form had none.
    fn key(&self, words: &Words) -> Option<RequestKey> {
        let has_one = self.0.iter().any(|(name, _)| name == ONCE);
        has_one.then(|| of_form(words.who.name(), &self.0))
    }

    /// Who acts: whoever signed in, else whom the form names.
    pub(crate) fn by(&self, words: &Words) -> Result<String, Fault> {
        words.who.name().map_or_else(|| self.needed(words, "by"), |name| Ok(name.to_owned()))
    }

    /// A count that must be there.
    pub(crate) fn count(&self, words: &Words, field: &'static str) -> Result<u64, Fault> {
        let text = self.needed(words, field)?;
        let digits: String =
            text.chars().filter(|c| !matches!(c, '.' | ',' | ' ' | '\u{a0}')).collect();
        digits.parse().map_err(|_| Fault { field, says: words.say("no-count") })
    }

    /// A name that must be there, of the kind that `new` makes.
    pub(crate) fn name<T, E>(
        &self,
        words: &Words,
        field: &'static str,
        new: fn(&str) -> Result<T, E>,
    ) -> Result<T, Fault> {
        let text = self.needed(words, field)?;
        new(&text).map_err(|_| Fault { field, says: words.say("no-name") })
    }
}

impl FromRequest<Surface> for Given {
    type Rejection = Response;

    async fn from_request(request: Request, surface: &Surface) -> Result<Self, Response> {
        let form = Form::<Vec<(String, String)>>::from_request(request, surface).await;
        let Form(fields) = form.map_err(axum::response::IntoResponse::into_response)?;
        Ok(Self(fields))
    }
}

/// Puts what a form asks for to the site. What just that form has done before, as by a second tap or
/// a browser that sends it again, is answered and not done again.
pub(crate) async fn ask(
    surface: &Surface,
    words: &Words,
    given: &Given,
    request: Asked,
) -> Result<Reply, Response> {
    let reply = match given.key(words) {
        // Whoever asks whether they may is told what holds now.
        Some(key) if !request.is_question() => surface.site.ask_once(request, key).await,
        _ => surface.site.ask(request).await,
    };
    reply.map_err(stopping(words))
}

/// Sends the browser on after a form was taken, so that loading again does nothing again.
pub(crate) fn done(to: &str) -> Response {
    Redirect::to(to).into_response()
}

/// A form that posts to `action`. Every form is made here: it bears what shows that it is of the
/// session, and is not offered to who may not send it, or not before they confirmed who they are.
pub(crate) fn form(words: &Words, action: &str, fields: &Markup) -> Markup {
    if !words.who.may_post(action) {
        return html! { p.quiet { (words.say("not-yours")) } };
    }
    if words.who.must_confirm(action) {
        let back = action.rsplit_once('/').map_or("/", |(page, _)| page);
        return html! {
            p { (words.say("confirm-first")) }
            p { (go(&then("/confirm", back), &words.say("confirm-title"))) }
        };
    }
    html! {
        form method="post" action=(action) {
            @if let Some((name, value)) = words.who.hidden_field() {
                input type="hidden" name=(name) value=(value);
            }
            // Without completion: browsers fill fields in again, hidden ones too.
            @if let Ok(once) = token() {
                input type="hidden" name=(ONCE) value=(once) autocomplete="off";
            }
            (fields)
        }
    }
}

/// Makes the fields of one form, with what was given and what was at fault.
#[derive(Clone, Copy)]
pub(crate) struct Filling<'a> {
    pub(crate) words: &'a Words,
    /// Tells its fields from those of other forms of the page.
    pub(crate) form: &'a str,
    pub(crate) given: Option<&'a Given>,
    pub(crate) fault: Option<&'a Fault>,
}

impl<'a> Filling<'a> {
    /// Of a form that nobody has sent yet.
    pub(crate) fn empty(words: &'a Words, form: &'a str) -> Self {
        Self { words, form, given: None, fault: None }
    }

    /// A field with its label, and its fault tied to it.
    pub(crate) fn field(&self, name: &str, kind: &str, needed: bool) -> Markup {
        self.field_with(name, kind, needed, "")
    }

    /// As [`Self::field`], with a value already in it.
    pub(crate) fn field_with(&self, name: &str, kind: &str, needed: bool, value: &str) -> Markup {
        let id = format!("{}-{name}", self.form);
        let hint = format!("{id}-fault");
        let value = self.given.map_or(value, |given| given.text(name));
        let fault = self.fault.filter(|fault| fault.field == name);
        html! {
            p.field {
                label for=(id) {
                    (self.words.say(&format!("field-{name}")))
                    @if !needed { " " small { (self.words.say("optional")) } }
                }
                input #(id) name=(name) type=(kind) value=(value) required[needed]
                    maxlength=[(kind == "text").then_some(LONGEST_TEXT)]
                    min=[(kind == "number").then_some("0")]
                    autocomplete="off" aria-invalid=[fault.map(|_| "true")]
                    aria-describedby=[fault.map(|_| &hint)];
                @if let Some(fault) = fault { span.fault #(hint) { (fault.says) } }
            }
        }
    }

    /// Who acts, where nobody signed in.
    pub(crate) fn by(&self) -> Markup {
        if self.words.who.name().is_some() {
            html! {}
        } else {
            self.field("by", "text", true)
        }
    }

    /// What is wrong with the form as a whole, read out at once.
    pub(crate) fn fault(&self) -> Markup {
        html! {
            @if let Some(fault) = self.fault {
                p.fault role="alert" {
                    (self.words.say("not-done")) " "
                    @if fault.field.is_empty() { (fault.says) } @else { (self.words.say("see-field")) }
                }
            }
        }
    }

    /// What sends it.
    pub(crate) fn send(&self, key: &str) -> Markup {
        html! { p { button type="submit" { (self.words.say(key)) } } }
    }
}

/// What a form asks for besides who does it: name, kind, and whether it must be there.
pub(crate) type Fields = &'static [(&'static str, &'static str, bool)];

/// Why, and nothing else.
pub(crate) const WHY: Fields = &[("why", "text", true)];

/// A form that was sent and not taken.
pub(crate) struct Sent<'a> {
    pub(crate) action: &'a str,
    pub(crate) given: &'a Given,
    pub(crate) fault: &'a Fault,
}

/// A form for each action that whoever looks may do, folded up; open where one was not taken.
pub(crate) fn folded(
    words: &Words,
    actions: &[(&'static str, Fields)],
    path_of: impl Fn(&str) -> String,
    sent: Option<&Sent<'_>>,
) -> Markup {
    html! {
        @for (action, fields) in actions {
            @let path = path_of(action);
            @if words.who.may_post(&path) {
                @let mine = sent.filter(|sent| sent.action == *action);
                @let filling = Filling {
                    words, form: action, given: mine.map(|s| s.given), fault: mine.map(|s| s.fault),
                };
                details #{ "do-" (action) } open[mine.is_some()] {
                    summary { (words.say(&format!("action-{action}"))) }
                    p { (words.say(&format!("action-{action}-means"))) }
                    (form(words, &path, &html! {
                        (filling.fault())
                        @for (name, kind, needed) in *fields { (filling.field(name, kind, *needed)) }
                        (filling.by())
                        (filling.send(&format!("action-{action}")))
                    }))
                }
            }
        }
    }
}
