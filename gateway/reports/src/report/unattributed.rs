//! Strokes that nobody attributed yet.

use std::collections::BTreeMap;

use stencilward_domain::event::{BasisKind, Event, Position, WhyUnattributed};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::time::Timestamp;

use super::figure::{Tally, Value};
use super::heard::Heard;
use super::table::{Column, Table, Unit};
use super::{Asked, Figure, Review};

const COLUMNS: &[Column] = &[
    ("event", Unit::None),
    ("line", Unit::None),
    ("printer", Unit::None),
    ("open", Unit::Strokes),
    ("told-of", Unit::Strokes),
    ("basis", Unit::None),
    ("since", Unit::None),
    ("until", Unit::None),
    ("candidates", Unit::None),
    ("why", Unit::None),
];

#[derive(Debug)]
struct Open {
    machine: MachineName,
    count: u64,
    left: Tally,
    basis: BasisKind,
    since: Timestamp,
    until: Timestamp,
    candidates: Vec<StencilCode>,
    why: WhyUnattributed,
}

/// Strokes that are nobody's yet, by the event that told of them.
#[derive(Debug, Default)]
pub(super) struct Unattributed(BTreeMap<Position, Open>);

impl Unattributed {
    pub(super) fn hear(&mut self, heard: &Heard<'_>) {
        match heard.event() {
            Event::StrokesUnattributed { machine, count, since, candidates, why, basis } => {
                let mut left = Tally::default();
                left.add(*count, heard.mark);
                let open = Open {
                    machine: machine.clone(),
                    count: *count,
                    left,
                    basis: basis.kind(),
                    since: *since,
                    until: heard.recorded.fact.time(),
                    candidates: candidates.clone(),
                    why: *why,
                };
                self.0.insert(heard.recorded.position, open);
            }
            Event::StrokesAssigned { of, count, .. }
            | Event::StrokesWrittenOff { of, count, .. } => {
                if let Some(open) = self.0.get_mut(of) {
                    open.left.add(-i128::from(*count), heard.mark);
                }
                self.0.retain(|_, open| open.left.sum > 0);
            }
            _ => {}
        }
    }

    /// Strokes of a machine that are still nobody's.
    pub(super) fn open_at(&self, machine: &MachineName) -> Tally {
        let of_machine = self.0.values().filter(|open| open.machine == *machine);
        of_machine.map(|open| &open.left).sum()
    }

    pub(super) fn table(&self, review: &Review, asked: &Asked) -> Table {
        let picked = |open: &&Open| {
            review.picks_machine(asked, Some(&open.machine))
                && review.picks_any(asked, &open.candidates)
        };
        let rows = self.0.iter().filter(|(_, open)| picked(open)).map(|(position, open)| {
            let told = |value| Figure::of(value).citing(*position);
            let candidates = open.candidates.iter().map(ToString::to_string).collect();
            vec![
                Figure::event(*position),
                Figure::maybe(review.setup.line(&open.machine)),
                Figure::text(&open.machine),
                open.left.figure(),
                told(Value::Count(open.count.into())),
                Figure::text(open.basis.as_str()),
                told(Value::Time(open.since)),
                told(Value::Time(open.until)),
                told(Value::Names(candidates)),
                Figure::text(open.why.in_words()),
            ]
        });
        Table {
            name: "unattributed",
            about: "Strokes that nobody attributed to a stencil yet.",
            columns: COLUMNS,
            rows: rows.collect(),
            notes: vec![
                "Made between since and until by one of the candidates, if any. Assign them, or \
                 write them off, by the event."
                    .to_owned(),
            ],
            nothing: "No strokes are open.",
        }
    }
}
