//! The big answer: yes or no, why, and what to do now.

use axum::response::Response;
use maud::{Markup, html};
use stencilward_domain::decision::{Cause, Decision, Rule};
use stencilward_domain::event::{Event, Position, Recorded};
use stencilward_domain::names::StencilCode;
use stencilward_domain::reason::Reason;
use stencilward_domain::site::{Reply, Request, Site};
use stencilward_domain::time::Timestamp;

use crate::Surface;
use crate::pages::layout::{event_link, name_link, stopping, unread};
use crate::pages::telling::reason;
use crate::pages::words::Words;

/// Events of a stencil looked back for whoever asked before.
const LOOK_BACK: usize = 30;

/// What came of a question.
pub(super) struct Verdict {
    stencil: StencilCode,
    outcome: Outcome,
}

enum Outcome {
    Decided(Decision),
    Done(Position),
    Refused(String),
    /// Somebody else holds the permission: who, and since when.
    First(Option<Holder>, Timestamp),
}

impl Verdict {
    /// Asks, unless somebody else was first: that is looked up and asked in one step, so that of
    /// two who scan at once exactly one is permitted.
    pub(super) async fn of(
        surface: &Surface,
        words: &Words,
        stencil: StencilCode,
        request: Request,
        by: &str,
    ) -> Result<Self, Response> {
        let history = surface.archive.history(&stencil, LOOK_BACK).await.map_err(unread(words))?;
        let mine = holder(&history).filter(|holder| holder.who == by).map(|holder| holder.until);
        let (code, is_take) = (stencil.clone(), matches!(request, Request::Take { .. }));
        let (held, reply) = surface
            .site
            .ask_after(move |site, now| {
                let with_rack = at_its_rack(site, request);
                let held =
                    open_take(site, &code, now).filter(|until| is_take && mine != Some(*until));
                (held, held.is_none().then_some(with_rack))
            })
            .await
            .map_err(stopping(words))?;
        let outcome = match (reply, held) {
            (Some(Reply::Decision(decision)), _) => Outcome::Decided(decision),
            (Some(Reply::Done(event)), _) => Outcome::Done(event),
            (Some(Reply::Refused(why)), _) => Outcome::Refused(why),
            (Some(_), _) => Outcome::Refused(String::new()),
            (None, until) => {
                let history = surface.archive.history(&stencil, LOOK_BACK).await;
                let first = holder(&history.map_err(unread(words))?);
                Outcome::First(first, until.unwrap_or_default())
            }
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
            Outcome::First(first, until) => {
                let who = first.as_ref().map_or("–", |holder| holder.who.as_str());
                let at =
                    first.as_ref().map_or_else(|| "–".to_owned(), |holder| words.time(holder.at));
                let parts =
                    [("who", who.into()), ("at", at.into()), ("until", words.time(*until).into())];
                big(
                    words,
                    false,
                    "scan-first",
                    &html! { (about) p { (words.tell("scan-first-who", parts)) } },
                )
            }
        }
    }
}

/// A take is asked of the rack that holds the stencil, so that its door follows.
fn at_its_rack(site: &Site, request: Request) -> Request {
    match request {
        Request::Take { stencil, rack: None, order, by } => {
            let place = site.state().stencils.get(&stencil).map(|known| &known.place.value);
            let rack = place.filter(|place| place.slot().is_some()).and_then(|p| p.machine());
            Request::Take { rack: rack.cloned(), stencil, order, by }
        }
        other => other,
    }
}

/// Until when a permitted take of this stencil waits to be carried out.
fn open_take(site: &Site, code: &StencilCode, now: Timestamp) -> Option<Timestamp> {
    let permits = site.state().machines.values().flat_map(|machine| &machine.permits);
    let open = permits.filter(|permit| permit.rule == Rule::Take && permit.stencil == *code);
    open.map(|permit| permit.until).filter(|until| *until > now).max()
}

/// Who was permitted to take a stencil.
struct Holder {
    who: String,
    at: Timestamp,
    until: Timestamp,
}

/// Who was permitted to take it last.
fn holder(history: &[Recorded]) -> Option<Holder> {
    history.iter().find_map(|recorded| match &recorded.fact.event {
        Event::Decided { decision, valid_until: Some(until) }
            if decision.rule == Rule::Take && decision.permitted() =>
        {
            Some(Holder { who: decision.by.clone()?, at: recorded.fact.at, until: *until })
        }
        _ => None,
    })
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
