//! Washes by washer, person and programme.

use std::collections::BTreeMap;

use stencilward_domain::event::Event;
use stencilward_domain::names::MachineName;
use stencilward_domain::signal::WashOutcome;

use super::figure::Tally;
use super::heard::Heard;
use super::table::{Column, Table, Unit};
use super::{Asked, Figure, Review};

const COLUMNS: &[Column] = &[
    ("line", Unit::None),
    ("washer", Unit::None),
    ("by-hand", Unit::None),
    ("programme", Unit::None),
    ("passed", Unit::Washes),
    ("failed", Unit::Washes),
    ("aborted", Unit::Washes),
    ("annulled", Unit::Washes),
];

/// Washer, who reported it when no washer did, programme.
type Key = (Option<MachineName>, Option<String>, Option<String>);

#[derive(Debug, Default)]
struct OfKind {
    passed: Tally,
    failed: Tally,
    aborted: Tally,
    annulled: Tally,
}

/// Washes that ended within the period.
#[derive(Debug, Default)]
pub(super) struct Washes(BTreeMap<Key, OfKind>);

impl Washes {
    pub(super) fn hear(&mut self, heard: &Heard<'_>) {
        if !heard.within {
            return;
        }
        match heard.event() {
            Event::WashEnded { outcome, .. } => {
                let of = self.of(heard.event());
                let tally = match outcome {
                    WashOutcome::Passed => &mut of.passed,
                    WashOutcome::Failed => &mut of.failed,
                    WashOutcome::Aborted => &mut of.aborted,
                };
                tally.add(1, heard.mark);
            }
            Event::WashAnnulled { .. } => {
                let original = heard.original.unwrap_or(heard.recorded);
                self.of(&original.fact.event).annulled.add(1, heard.mark);
            }
            _ => {}
        }
    }

    fn of(&mut self, wash: &Event) -> &mut OfKind {
        let key = match wash {
            Event::WashEnded { machine, by, programme, .. } => {
                (machine.clone(), by.clone(), programme.clone())
            }
            _ => Key::default(),
        };
        self.0.entry(key).or_default()
    }

    pub(super) fn table(&self, review: &Review, asked: &Asked) -> Table {
        let picked = |(washer, _, _): &Key| review.picks_machine(asked, washer.as_ref());
        let rows = self.0.iter().filter(|(key, _)| picked(key));
        let rows = rows.map(|((washer, by, programme), of)| {
            let line = washer.as_ref().and_then(|washer| review.setup.line(washer));
            let mut row = vec![
                Figure::maybe(line),
                Figure::maybe(washer.as_ref()),
                Figure::maybe(by.as_ref()),
                Figure::maybe(programme.as_ref()),
            ];
            row.extend([&of.passed, &of.failed, &of.aborted, &of.annulled].map(Tally::figure));
            row
        });
        Table {
            name: "washes",
            about: "Washes that ended, by washer or person and programme.",
            columns: COLUMNS,
            rows: rows.collect(),
            notes: vec![
                "annulled: passed first, and a person said later that it was no wash. It counts \
                 as passed too."
                    .to_owned(),
            ],
            nothing: "No wash ended.",
        }
    }
}
