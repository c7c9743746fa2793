//! One thing to do: what is known of it, which the site task gathers, and how it is told, which
//! must not hold up the site task.

use maud::{Markup, html};
use stencilward_domain::alarm::ActiveAlarm;
use stencilward_domain::decision::Decision;
use stencilward_domain::event::Position;
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::place::Place;
use stencilward_domain::stencil::{Hold, Sourced};
use stencilward_domain::time::Timestamp;

use crate::pages::alarms;
use crate::pages::layout::{event_link, path};
use crate::pages::shapes::place_words;
use crate::pages::telling::reasons;
use crate::pages::words::Words;

/// Alarms named on the worklist; the others are a page away.
const ALARMS_NAMED: usize = 5;

/// How soon something must be done.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub(super) enum Urgency {
    Now,
    Soon,
    Later,
}

impl Urgency {
    pub(super) const ALL: [Self; 3] = [Self::Now, Self::Soon, Self::Later];

    pub(super) fn as_str(self) -> &'static str {
        match self {
            Self::Now => "now",
            Self::Soon => "soon",
            Self::Later => "later",
        }
    }
}

/// One thing to do.
pub(super) struct Task {
    pub(super) urgency: Urgency,
    /// What comes first among equals.
    pub(super) by: Option<Timestamp>,
    pub(super) matter: Matter,
}

/// What it is about.
pub(super) enum Matter {
    Wash(Wash),
    Find { stencil: StencilCode, since: Timestamp, because: Position },
    Hold { stencil: StencilCode, hold: Sourced<Hold> },
    Link { machine: MachineName, why: String, since: Timestamp },
    Fault { machine: MachineName, code: String, said: String },
    Printer { machine: MachineName, decision: Decision },
    Alarms { count: usize, first: Vec<ActiveAlarm> },
    Assign { machine: MachineName, strokes: u64 },
}

/// A stencil that waits to be washed.
pub(super) struct Wash {
    pub(super) stencil: StencilCode,
    pub(super) place: Place,
    pub(super) due: Option<Timestamp>,
    /// The word for why.
    pub(super) why: &'static str,
    pub(super) strokes: u64,
    pub(super) because: Position,
}

impl Matter {
    /// The alarms that nobody acknowledged.
    pub(super) fn alarms(open: &[&ActiveAlarm]) -> Self {
        let first = open.iter().take(ALARMS_NAMED).map(|alarm| ActiveAlarm::clone(alarm));
        Self::Alarms { count: open.len(), first: first.collect() }
    }

    /// Where it is done.
    pub(super) fn to(&self) -> String {
        match self {
            Self::Wash(Wash { stencil, .. })
            | Self::Find { stencil, .. }
            | Self::Hold { stencil, .. } => path(&["stencils", stencil.as_str()]),
            Self::Link { machine, .. }
            | Self::Fault { machine, .. }
            | Self::Printer { machine, .. } => path(&["machines", machine.as_str()]),
            Self::Alarms { .. } => "/alarms".to_owned(),
            Self::Assign { .. } => "/unattributed".to_owned(),
        }
    }

    /// What to do.
    pub(super) fn what(&self, words: &Words) -> String {
        let stencil =
            |key, code: &StencilCode| words.tell(key, [("stencil", code.as_str().into())]);
        let machine =
            |key, name: &MachineName| words.tell(key, [("machine", name.as_str().into())]);
        match self {
            Self::Wash(wash) => stencil("do-wash", &wash.stencil),
            Self::Find { stencil: code, .. } => stencil("do-find", code),
            Self::Hold { stencil: code, .. } => stencil("do-decide-hold", code),
            Self::Link { machine: name, .. } => machine("do-link", name),
            Self::Fault { machine: name, .. } => machine("do-fault", name),
            Self::Printer { machine, decision } => {
                let stencil = decision.stencil.as_ref().map_or("–", StencilCode::as_str);
                let parts = [("machine", machine.as_str().into()), ("stencil", stencil.into())];
                words.tell("do-printer", parts)
            }
            Self::Alarms { count, .. } => {
                words.tell("do-alarms", [("count", words.number(*count as u64).into())])
            }
            Self::Assign { strokes, .. } => {
                words.tell("do-assign", [("strokes", words.number(*strokes).into())])
            }
        }
    }

    /// By when, where and why.
    pub(super) fn about(&self, words: &Words, now: Timestamp) -> Markup {
        match self {
            Self::Wash(wash) => wash.about(words, now),
            Self::Find { since, because, .. } => html! {
                p { (words.say("lost-since")) " " (words.when(*since)) " " (event_link(*because)) }
            },
            Self::Hold { hold, .. } => html! {
                p { (hold.value.why) }
                p.quiet { (hold.value.by) ", " (words.when(hold.since)) " " (event_link(hold.because)) }
            },
            Self::Link { why, since, .. } => html! {
                p { (why) }
                p.quiet { (words.say("since")) " " (words.when(*since)) }
            },
            Self::Fault { code, said, .. } => html! { p { (code) ": " (said) } },
            Self::Printer { decision, .. } => reasons(words, &decision.reasons),
            Self::Alarms { first, .. } => html! {
                ul { @for alarm in first { li { (alarms::name(words, alarm)) } } }
            },
            Self::Assign { machine, .. } => html! {
                p { (words.tell("made-at", [("machine", machine.as_str().into())])) }
            },
        }
    }
}

impl Wash {
    fn about(&self, words: &Words, now: Timestamp) -> Markup {
        let strokes = words.number(self.strokes);
        html! {
            p { strong { (place_words(words, &self.place)) } }
            @if let Some(due) = self.due {
                p {
                    @if due < now { (words.say("overdue-since")) } @else { (words.say("by-when")) }
                    " " strong { (words.when(due)) }
                }
            }
            p { (words.tell(self.why, [("strokes", strokes.into())])) " " (event_link(self.because)) }
        }
    }
}
