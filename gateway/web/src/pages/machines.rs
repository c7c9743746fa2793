//! Machines: whether each is heard, what it is at, and what to check where something is wrong.
//!
//! Whoever comes here looks for the one that is wrong: those come first, with the sentence that
//! says what to check; the others follow by name.

use std::collections::BTreeMap;

use axum::extract::State;
use axum::response::Response;
use maud::{Markup, html};
use stencilward_domain::machine::LinkState;
use stencilward_domain::names::{MachineName, OrderName, StencilCode};
use stencilward_domain::plant::MachineKind;
use stencilward_domain::signal::MachineState;
use stencilward_domain::site::Site;
use stencilward_domain::time::Timestamp;

use super::layout::{Page, facts, name_link, shown, stopping, text};
use super::words::Words;
use crate::Surface;

/// Machines shown whole at once; of the others their names and what they are at.
const SHOWN: usize = 40;

/// One machine as pages show it.
pub(super) struct Seen {
    pub(super) name: MachineName,
    pub(super) kind: MachineKind,
    line: Option<String>,
    pub(super) on_trial: bool,
    link: LinkState,
    faults: BTreeMap<String, String>,
    pub(super) state: Option<(MachineState, String)>,
    pub(super) seat: Option<StencilCode>,
    pub(super) order: Option<OrderName>,
    booked: u64,
    unattributed: u64,
    pub(super) now: Timestamp,
}

impl Seen {
    /// What a list needs of it: a machine remembers much that no page shows.
    pub(super) fn of(site: &Site, name: &MachineName, now: Timestamp) -> Option<Self> {
        let spec = site.plant().machines.get(name)?;
        let machine = site.state().machines.get(name);
        Some(Self {
            name: name.clone(),
            kind: spec.kind,
            line: spec.line.clone(),
            on_trial: site.plant().on_trial(name),
            link: machine.map(|machine| machine.link.clone()).unwrap_or_default(),
            faults: machine.map(|machine| machine.faults.clone()).unwrap_or_default(),
            state: machine.and_then(|machine| machine.state.clone()),
            seat: machine.and_then(|machine| Some(machine.seat.as_ref()?.code.clone())),
            order: machine.and_then(|machine| Some(machine.order.as_ref()?.order.clone())),
            booked: machine.map_or(0, |machine| machine.booked),
            unattributed: machine.map_or(0, |machine| machine.unattributed),
            now,
        })
    }

    /// True when somebody should look at it.
    fn is_wrong(&self) -> bool {
        self.link != LinkState::Up || !self.faults.is_empty()
    }
}

/// `GET /machines`.
pub(crate) async fn machines(
    State(surface): State<Surface>,
    words: Words,
) -> Result<Response, Response> {
    let (wrong, right) = surface.site.look(sorted).await.map_err(stopping(&words))?;
    let title = words.say("machines-title");
    let main = html! {
        h1 { (title) }
        @if wrong.is_empty() && right.is_empty() { p { (words.say("machines-nothing")) } }
        ul.tasks {
            @for seen in wrong.iter().take(SHOWN) { (card(&words, seen)) }
            @for seen in right.iter().take(SHOWN.saturating_sub(wrong.len())) { (card(&words, seen)) }
        }
        @let rest = wrong.iter().chain(&right).skip(SHOWN).collect::<Vec<_>>();
        @if !rest.is_empty() {
            section aria-labelledby="rest" {
                h2 #rest { (words.say("machines-rest")) span.count { (words.number(rest.len() as u64)) } }
                ul { @for seen in rest { li { (brief(&words, seen)) } } }
            }
        }
    };
    let live = Some("machine/".to_owned());
    Ok(shown(&words, &Page { place: "machines", title, live, main }))
}

/// Those that somebody should look at, and the others.
fn sorted(site: &Site, now: Timestamp) -> (Vec<Seen>, Vec<Seen>) {
    let names = site.plant().machines.keys();
    names.filter_map(|name| Seen::of(site, name, now)).partition(Seen::is_wrong)
}

fn card(words: &Words, seen: &Seen) -> Markup {
    html! {
        li.wrong[seen.is_wrong()] {
            h2 { (name_link("machines", seen.name.as_str())) }
            p.quiet { (what(words, seen)) }
            (link(words, seen))
            (faults(words, seen))
            (now_at(words, seen))
        }
    }
}

/// A machine in one line.
fn brief(words: &Words, seen: &Seen) -> Markup {
    let link = &seen.link;
    html! {
        (name_link("machines", seen.name.as_str())) " " (what(words, seen))
        @if seen.is_wrong() { " · " strong { (words.say(&format!("link-{}", link.as_str()))) } }
        @if let Some(code) = &seen.seat { " · " (code) }
    }
}

pub(super) fn what(words: &Words, seen: &Seen) -> String {
    let kind = words.say(&format!("kind-{}", seen.kind.as_str()));
    match &seen.line {
        Some(line) => format!("{kind} · {line}"),
        None => kind,
    }
}

/// Whether it is heard, in a shape and words.
pub(super) fn link(words: &Words, seen: &Seen) -> Markup {
    let state = &seen.link;
    let up = *state == LinkState::Up;
    html! {
        p.condition {
            span.chip.calm[up].stop[!up] {
                svg.shape viewBox="0 0 24 24" aria-hidden="true" {
                    path d="M2 12h7M15 12h7" {}
                    @if up { path d="M9 12h6" {} } @else { path d="M9 7v10M15 7v10" {} }
                }
                span { span.dimension { (words.say("link")) } " " strong { (words.say(&format!("link-{}", state.as_str()))) } }
            }
            @if seen.on_trial { span.chip.wait { span { strong { (words.say("on-trial")) } } } }
        }
        @if let LinkState::Down { why, since } = state {
            p { (why) }
            p.quiet {
                (words.say("since")) " " (words.when(*since)) " ("
                (words.span(seen.now.since(*since))) ")"
            }
        }
        @if *state == LinkState::NeverUp { p { (words.say("link-never-check")) } }
    }
}

pub(super) fn faults(words: &Words, seen: &Seen) -> Markup {
    html! {
        @if !seen.faults.is_empty() {
            p { strong { (words.say("machine-faults")) } }
            ul { @for (code, said) in &seen.faults { li { strong { (code) } " " (said) } } }
        }
    }
}

pub(super) fn now_at(words: &Words, seen: &Seen) -> Markup {
    let state = seen.state.as_ref().map(|(state, word)| {
        let ours = words.say(&format!("word-state-{}", state.as_str()));
        text(if *word == state.as_str() { ours } else { format!("{ours} ({word})") })
    });
    let strokes = |count: u64| (count > 0).then(|| text(words.number(count)));
    facts(vec![
        (words.say("machine-state"), state),
        (words.say("stencil"), seen.seat.as_ref().map(|code| name_link("stencils", code.as_str()))),
        (words.say("machine-order"), seen.order.as_ref().map(|order| text(order.as_str()))),
        (words.say("machine-booked"), strokes(seen.booked)),
        (words.say("machine-unattributed"), strokes(seen.unattributed)),
    ])
}
