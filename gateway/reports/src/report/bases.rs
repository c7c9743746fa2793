//! Strokes of each printer by what they come from.

use std::collections::BTreeMap;

use stencilward_domain::event::{Basis, BasisKind, Event, Position};
use stencilward_domain::names::MachineName;

use super::figure::Tally;
use super::heard::Heard;
use super::table::{Column, Table, Unit};
use super::{Asked, Figure, Review};

const COLUMNS: &[Column] = &[
    ("line", Unit::None),
    ("printer", Unit::None),
    ("basis", Unit::None),
    ("strokes", Unit::Strokes),
    ("booked", Unit::Strokes),
    ("assigned", Unit::Strokes),
    ("corrected", Unit::Strokes),
    ("checked", Unit::Strokes),
    ("unattributed", Unit::Strokes),
    ("written-off", Unit::Strokes),
];

/// Which row: the printer and the basis; no printer for strokes from before the gateway.
type Key = (Option<MachineName>, Option<BasisKind>);

#[derive(Debug, Default)]
struct OfBasis {
    booked: Tally,
    assigned: Tally,
    corrected: Tally,
    checked: Tally,
    unattributed: Tally,
    written_off: Tally,
}

/// Strokes by printer and basis within the period.
#[derive(Debug, Default)]
pub(super) struct Bases {
    rows: BTreeMap<Key, OfBasis>,
    /// The bases of strokes that people assigned: an assignment may be corrected.
    assigned: BTreeMap<Position, BasisKind>,
}

impl Bases {
    pub(super) fn hear(&mut self, heard: &Heard<'_>) {
        if let Event::StrokesAssigned { .. } = heard.event()
            && let Some(basis) = self.basis_of_original(heard)
        {
            self.assigned.insert(heard.recorded.position, basis);
        }
        if !heard.within {
            return;
        }
        let mark = heard.mark;
        match heard.event() {
            Event::StencilRegistered { starting_strokes, .. } if *starting_strokes > 0 => {
                self.rows.entry((None, None)).or_default().booked.add(*starting_strokes, mark);
            }
            Event::StrokesBooked { machine, count, basis, .. } => {
                self.of(machine, basis).booked.add(*count, mark);
            }
            Event::StrokesChecked { machine, count, basis } => {
                self.of(machine, basis).checked.add(*count, mark);
            }
            Event::StrokesUnattributed { machine, count, basis, .. } => {
                self.of(machine, basis).unattributed.add(*count, mark);
            }
            Event::StrokesAssigned { machine, count, .. } => {
                let key = (Some(machine.clone()), self.basis_of_original(heard));
                self.rows.entry(key).or_default().assigned.add(*count, mark);
            }
            Event::StrokesWrittenOff { machine, count, .. } => {
                let key = (Some(machine.clone()), self.basis_of_original(heard));
                self.rows.entry(key).or_default().written_off.add(*count, mark);
            }
            Event::StrokesCorrected { machine, was, is, .. } => {
                let key = (machine.clone(), self.basis_of_original(heard));
                let net = i128::from(*is) - i128::from(*was);
                self.rows.entry(key).or_default().corrected.add(net, mark);
            }
            _ => {}
        }
    }

    fn of(&mut self, machine: &MachineName, basis: &Basis) -> &mut OfBasis {
        self.rows.entry((Some(machine.clone()), Some(basis.kind()))).or_default()
    }

    fn basis_of_original(&self, heard: &Heard<'_>) -> Option<BasisKind> {
        let original = heard.original?;
        match &original.fact.event {
            Event::StrokesBooked { basis, .. } | Event::StrokesUnattributed { basis, .. } => {
                Some(basis.kind())
            }
            _ => self.assigned.get(&original.position).copied(),
        }
    }

    pub(super) fn table(&self, review: &Review, asked: &Asked) -> Table {
        let picked = |(printer, _): &Key| review.picks_machine(asked, printer.as_ref());
        let rows = self.rows.iter().filter(|(key, _)| picked(key));
        let rows = rows.map(|((printer, basis), of)| {
            let word = basis.map_or("before the gateway", BasisKind::as_str);
            let line = printer.as_ref().and_then(|printer| review.setup.line(printer));
            let strokes: Tally = [&of.booked, &of.assigned, &of.corrected].into_iter().sum();
            let mut row = vec![Figure::maybe(line), Figure::maybe(printer.as_ref())];
            row.extend([Figure::text(word), strokes.figure()]);
            row.extend(
                [
                    &of.booked,
                    &of.assigned,
                    &of.corrected,
                    &of.checked,
                    &of.unattributed,
                    &of.written_off,
                ]
                .map(Tally::figure),
            );
            row
        });
        Table {
            name: "bases",
            about: "Strokes of each printer by what they come from.",
            columns: COLUMNS,
            rows: rows.collect(),
            notes: vec![
                "strokes = booked + assigned + corrected: those that count for stencils. checked \
                 is only compared, and never counts."
                    .to_owned(),
            ],
            nothing: "No strokes.",
        }
    }
}
