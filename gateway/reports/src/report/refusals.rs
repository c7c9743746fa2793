//! Refusals by rule, reason and stencil.

use std::collections::BTreeMap;

use stencilward_domain::decision::Rule;
use stencilward_domain::event::Event;
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::time::Timestamp;

use super::figure::{Tally, Value};
use super::heard::Heard;
use super::table::{Column, Table, Unit};
use super::{Asked, Figure, Review};

const COLUMNS: &[Column] = &[
    ("rule", Unit::None),
    ("reason", Unit::None),
    ("stencil", Unit::None),
    ("machine", Unit::None),
    ("refusals", Unit::Decisions),
    ("last", Unit::None),
];

type Key = (Rule, &'static str, Option<StencilCode>, Option<MachineName>);

/// Refusals within the period.
#[derive(Debug, Default)]
pub(super) struct Refusals(BTreeMap<Key, (Tally, Timestamp, Tally)>);

impl Refusals {
    pub(super) fn hear(&mut self, heard: &Heard<'_>) {
        let Event::Decided { decision, .. } = heard.event() else {
            return;
        };
        if !heard.within {
            return;
        }
        for cause in &decision.reasons {
            let (stencil, machine) = (decision.stencil.clone(), decision.machine.clone());
            let key = (decision.rule, cause.reason.code(), stencil, machine);
            let (count, last, last_event) = self.0.entry(key).or_default();
            count.add(1, heard.mark);
            *last = heard.recorded.fact.at;
            *last_event = Tally::default();
            last_event.add(0, heard.mark);
        }
    }

    pub(super) fn table(&self, review: &Review, asked: &Asked) -> Table {
        let picked = |(_, _, stencil, machine): &Key| {
            review.picks_stencil(asked, stencil.as_ref())
                && review.picks_machine(asked, machine.as_ref())
        };
        let rows = self.0.iter().filter(|(key, _)| picked(key)).map(|(key, refused)| {
            let ((rule, reason, stencil, machine), (count, last, event)) = (key, refused);
            vec![
                Figure::text(rule.as_str()),
                Figure::text(reason),
                Figure::maybe(stencil.as_ref()),
                Figure::maybe(machine.as_ref()),
                count.figure(),
                Figure::of(Value::Time(*last)).citing_all(&event.events),
            ]
        });
        Table {
            name: "refusals",
            about: "What was refused, by rule and reason.",
            columns: COLUMNS,
            rows: rows.collect(),
            notes: vec![
                "A refusal with several reasons counts once for each. A print decision counts \
                 when it changes, not for each stroke."
                    .to_owned(),
            ],
            nothing: "Nothing was refused.",
        }
    }
}
