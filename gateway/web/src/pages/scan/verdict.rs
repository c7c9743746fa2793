//! The big answer: yes or no, why, and what to do now.

use axum::response::Response;
use maud::{Markup, html};
use stencilward_domain::decision::{Cause, Decision};
use stencilward_domain::event::Position;
use stencilward_domain::names::StencilCode;
use stencilward_domain::reason::Reason;
use stencilward_domain::site::{Reply, Request};

use crate::Surface;
use crate::pages::forms::{Given, ask};
use crate::pages::layout::{event_link, name_link};
use crate::pages::telling::reason;
use crate::pages::words::Words;

/// What came of a question.
pub(super) struct Verdict {
    stencil: StencilCode,
    outcome: Outcome,
}

enum Outcome {
    Decided(Decision),
    Done(Position),
    Refused(String),
}

impl Verdict {
    /// Asks.
    pub(super) async fn of(
        surface: &Surface,
        words: &Words,
        given: &Given,
        stencil: StencilCode,
        request: Request,
    ) -> Result<Self, Response> {
        let outcome = match ask(surface, words, given, request).await? {
            Reply::Decision(decision) => Outcome::Decided(decision),
            Reply::Done(event) | Reply::Alarms { event, .. } => Outcome::Done(event),
            Reply::Refused(why) => Outcome::Refused(why),
        };
        Ok(Self { stencil, outcome })
    }

    pub(super) fn shown(&self, words: &Words) -> Markup {
        let about = html! { p { (name_link("stencils", self.stencil.as_str())) } };
        match &self.outcome {
            Outcome::Decided(decision) => {
                let key = format!("scan-{}-{}", decision.rule.as_str(), decision.outcome());
                let causes = causes(words, &decision.reasons);
                let next = if decision.permitted() {
                    words.say(&format!("scan-{}-next", decision.rule.as_str()))
                } else {
                    words.say(&format!("scan-{}-instead", decision.rule.as_str()))
                };
                big(
                    words,
                    decision.permitted(),
                    &key,
                    &html! { (about) (causes) p { strong { (next) } } },
                )
            }
            Outcome::Done(event) => big(
                words,
                true,
                "scan-done",
                &html! { (about) p { (words.say("done")) " " (event_link(*event)) } },
            ),
            Outcome::Refused(why) => {
                big(words, false, "scan-refused", &html! { (about) p { (why) } })
            }
        }
    }
}

fn causes(words: &Words, causes: &[Cause]) -> Markup {
    html! {
        ul.reasons {
            @for cause in causes {
                li {
                    (reason(words, &cause.reason))
                    @if let Reason::SlotTaken { holds: other, .. } | Reason::SlotPromised { to: other, .. } = &cause.reason {
                        " " (words.say("scan-was-first")) " " (name_link("stencils", other.as_str()))
                    }
                    @if let Some(event) = cause.because { " " (event_link(event)) }
                }
            }
        }
    }
}

/// An answer that is read at arm's length: its shape says what its words say.
fn big(words: &Words, yes: bool, key: &str, about: &Markup) -> Markup {
    html! {
        section.verdict.yes[yes].no[!yes] role="alert" {
            h2 {
                svg viewBox="0 0 24 24" aria-hidden="true" {
                    @if yes { path d="M3 12l6 7L21 4" {} } @else { path d="M4 12h16M4 4v16M20 4v16" {} }
                }
                (words.say(key))
            }
            (about)
        }
    }
}

/// What was scanned is nothing that is known here.
pub(super) fn unknown(words: &Words, text: &str) -> Markup {
    let about = html! { p { (words.tell("scan-unknown-code", [("code", text.into())])) } };
    big(words, false, "scan-unknown", &about)
}

/// Nobody said who scans.
pub(super) fn nobody(words: &Words) -> Markup {
    big(words, false, "scan-who", &html! { p { (words.say("needed-by")) } })
}
