//! Lines and their machines.

use std::collections::BTreeMap;

use stencilward_domain::event::Event;
use stencilward_domain::names::MachineName;
use stencilward_domain::plant::MachineKind;
use stencilward_domain::signal::WashOutcome;

use super::figure::Tally;
use super::heard::Heard;
use super::table::{Column, Table, Unit};
use super::{Asked, Figure, Review};

const COLUMNS: &[Column] = &[
    ("line", Unit::None),
    ("machine", Unit::None),
    ("strokes", Unit::Strokes),
    ("booked", Unit::Strokes),
    ("assigned", Unit::Strokes),
    ("corrected", Unit::Strokes),
    ("unattributed", Unit::Strokes),
    ("written-off", Unit::Strokes),
    ("still-open", Unit::Strokes),
    ("wipes", Unit::Wipes),
    ("washes", Unit::Washes),
];

/// What one machine did within the period.
#[derive(Debug, Default)]
struct OfMachine {
    booked: Tally,
    assigned: Tally,
    corrected: Tally,
    unattributed: Tally,
    written_off: Tally,
    wipes: Tally,
    washes: Tally,
}

/// What all machines did within the period.
#[derive(Debug, Default)]
pub(super) struct Machines(BTreeMap<MachineName, OfMachine>);

impl Machines {
    pub(super) fn hear(&mut self, heard: &Heard<'_>) {
        if !heard.within {
            return;
        }
        let mark = heard.mark;
        match heard.event() {
            Event::StrokesBooked { machine, count, .. } => {
                self.of(machine).booked.add(*count, mark);
            }
            Event::StrokesAssigned { machine, count, .. } => {
                self.of(machine).assigned.add(*count, mark);
            }
            Event::StrokesCorrected { machine: Some(machine), was, is, .. } => {
                self.of(machine).corrected.add(i128::from(*is) - i128::from(*was), mark);
            }
            Event::StrokesUnattributed { machine, count, .. } => {
                self.of(machine).unattributed.add(*count, mark);
            }
            Event::StrokesWrittenOff { machine, count, .. } => {
                self.of(machine).written_off.add(*count, mark);
            }
            Event::WipesCounted { machine, count, .. } => self.of(machine).wipes.add(*count, mark),
            Event::WashEnded { machine: Some(washer), outcome: WashOutcome::Passed, .. } => {
                self.of(washer).washes.add(1, mark);
            }
            Event::WashAnnulled { .. } => {
                let original = heard.original.map(|original| &original.fact.event);
                if let Some(Event::WashEnded { machine: Some(washer), .. }) = original {
                    self.of(washer).washes.add(-1, mark);
                }
            }
            _ => {}
        }
    }

    fn of(&mut self, machine: &MachineName) -> &mut OfMachine {
        if !self.0.contains_key(machine) {
            self.0.insert(machine.clone(), OfMachine::default());
        }
        self.0.entry(machine.clone()).or_default()
    }

    pub(super) fn table(&self, review: &Review, asked: &Asked) -> Table {
        let idle = OfMachine::default();
        let works = |kind| matches!(kind, MachineKind::Printer | MachineKind::Washer);
        let configured = review.setup.plant.machines.iter();
        let listed = configured.filter(|(_, spec)| works(spec.kind)).map(|(name, _)| name);
        let mut names: Vec<&MachineName> = listed.chain(self.0.keys()).collect();
        names.sort_by_key(|name| (review.setup.line(name), *name));
        names.dedup();
        let rows = names.into_iter().filter(|name| review.picks_machine(asked, Some(name)));
        let rows = rows.map(|name| {
            let of = self.0.get(name).unwrap_or(&idle);
            let strokes: Tally = [&of.booked, &of.assigned, &of.corrected].into_iter().sum();
            let mut row =
                vec![Figure::maybe(review.setup.line(name)), Figure::text(name), strokes.figure()];
            row.extend(
                [&of.booked, &of.assigned, &of.corrected, &of.unattributed, &of.written_off]
                    .map(Tally::figure),
            );
            row.push(review.unattributed.open_at(name).figure());
            row.extend([&of.wipes, &of.washes].map(Tally::figure));
            row
        });
        Table {
            name: "lines",
            about: "What the machines of each line did.",
            columns: COLUMNS,
            rows: rows.collect(),
            notes: vec![
                "strokes = booked + assigned + corrected. still-open: told of at any time and \
                 nobody's yet."
                    .to_owned(),
            ],
            nothing: "No printer or washer is configured or was heard of.",
        }
    }
}
