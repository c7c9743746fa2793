//! What does not fit together.

use stencilward_domain::event::{Event, MessageNumbered, Position, WashUnmatched};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::time::Timestamp;

use super::figure::Value;
use super::heard::Heard;
use super::table::{Column, Table, Unit};
use super::{Asked, Figure, Review};

const COLUMNS: &[Column] = &[
    ("event", Unit::None),
    ("at", Unit::None),
    ("kind", Unit::None),
    ("line", Unit::None),
    ("machine", Unit::None),
    ("stencils", Unit::None),
    ("finding", Unit::None),
];

#[derive(Debug)]
pub(super) struct Finding {
    pub(super) event: Position,
    pub(super) at: Timestamp,
    pub(super) kind: &'static str,
    pub(super) machine: Option<MachineName>,
    pub(super) stencils: Vec<StencilCode>,
    pub(super) what: String,
}

/// Findings within the period.
#[derive(Debug, Default)]
pub(super) struct Findings(pub(super) Vec<Finding>);

impl Findings {
    pub(super) fn hear(&mut self, heard: &Heard<'_>) {
        let Some((kind, machine)) = kind(heard.event()).filter(|_| heard.within) else {
            return;
        };
        self.0.push(Finding {
            event: heard.recorded.position,
            at: heard.recorded.fact.time(),
            kind,
            machine: machine.cloned(),
            stencils: stencils(heard.event()),
            what: in_words(heard.event()),
        });
    }

    pub(super) fn table(&self, review: &Review, asked: &Asked) -> Table {
        let rows = self.0.iter().filter(|finding| finding.picked(review, asked)).map(|finding| {
            let stencils = finding.stencils.iter().map(ToString::to_string).collect();
            vec![
                Figure::event(finding.event),
                Figure::of(Value::Time(finding.at)).citing(finding.event),
                Figure::text(finding.kind),
                Figure::maybe(
                    finding.machine.as_ref().and_then(|machine| review.setup.line(machine)),
                ),
                Figure::maybe(finding.machine.as_ref()),
                Figure::of(Value::Names(stencils)),
                Figure::text(&finding.what).citing(finding.event),
            ]
        });
        Table {
            name: "findings",
            about: "What machines said that does not fit together.",
            columns: COLUMNS,
            rows: rows.collect(),
            notes: vec!["A likely cause is a guess from the pattern: check before you act.".into()],
            nothing: "Nothing was found.",
        }
    }
}

impl Finding {
    pub(super) fn picked(&self, review: &Review, asked: &Asked) -> bool {
        review.picks_machine(asked, self.machine.as_ref())
            && review.picks_any(asked, &self.stencils)
    }
}

fn kind(event: &Event) -> Option<(&'static str, Option<&MachineName>)> {
    Some(match event {
        Event::BasesDisagreed { machine, .. } => ("bases disagree", Some(machine)),
        Event::CounterDoubted { machine, .. } => ("counter doubted", Some(machine)),
        Event::RestartUnseen { machine, .. } => ("restart unseen", Some(machine)),
        Event::StorageBreached { rack, .. } => ("storage breached", Some(rack)),
        Event::WashUnmatched(unmatched) => ("wash unmatched", Some(&unmatched.machine)),
        Event::ClockDoubted(doubted) => ("clock doubted", Some(&doubted.machine)),
        Event::DecisionDoubted(doubted) => ("decision doubted", doubted.machine.as_ref()),
        Event::MessageNumbered(numbered) if numbered.missed > 0 => {
            ("messages missed", Some(&numbered.machine))
        }
        _ => return None,
    })
}

fn stencils(event: &Event) -> Vec<StencilCode> {
    match event {
        Event::BasesDisagreed { stencils, .. } => stencils.clone(),
        Event::StorageBreached { stencil: code, .. }
        | Event::WashUnmatched(WashUnmatched { code, .. }) => code.iter().cloned().collect(),
        Event::DecisionDoubted(doubted) => vec![doubted.stencil.clone()],
        _ => Vec::new(),
    }
}

fn in_words(event: &Event) -> String {
    match event {
        Event::BasesDisagreed { order, booked, checked_by, checked, likely, .. } => {
            let run = order.as_ref().map_or("a run".to_owned(), |order| format!("order {order}"));
            format!(
                "{run}: {booked} strokes booked, {checked} by {}: {}",
                checked_by.as_str(),
                likely.in_words()
            )
        }
        Event::CounterDoubted { counter, last, raw, possible, .. } => format!(
            "counter {counter} went from {last} to {raw}, {possible} strokes were possible: not \
             booked; see whether it was reset or misread"
        ),
        Event::RestartUnseen { counter, last, raw, at_most, .. } => format!(
            "counter {counter} restarted unseen ({last} before, {raw} after): up to {at_most} \
             strokes may be lost; ask the line and enter them by hand"
        ),
        Event::StorageBreached { slot, reasons, .. } => {
            let reasons: Vec<String> =
                reasons.iter().map(|cause| cause.reason.to_string()).collect();
            let why = if reasons.is_empty() {
                "nobody asked whether it may be stored".to_owned()
            } else {
                reasons.join("; ")
            };
            format!("slot {slot} filled without a permitted store: {why}")
        }
        Event::WashUnmatched(unmatched) => unmatched.why.clone(),
        Event::ClockDoubted(doubted) => doubted.wrong.in_words().to_owned(),
        Event::DecisionDoubted(doubted) => doubted.to_string(),
        Event::MessageNumbered(MessageNumbered { sequence, number, missed, .. }) => format!(
            "{missed} messages of {sequence} before number {number} never arrived: see whether \
             the broker's queue is long enough, and compare with the machine's own count"
        ),
        _ => String::new(),
    }
}
