//! What people corrected, beside what it corrects.

use stencilward_domain::event::{Event, Position, Recorded};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::time::Timestamp;

use super::figure::Value;
use super::heard::{Heard, refers_to};
use super::table::{Column, Table, Unit};
use super::{Asked, Figure, Review};

const COLUMNS: &[Column] = &[
    ("event", Unit::None),
    ("at", Unit::None),
    ("kind", Unit::None),
    ("stencil", Unit::None),
    ("printer", Unit::None),
    ("was", Unit::Strokes),
    ("is", Unit::Strokes),
    ("by", Unit::None),
    ("why", Unit::None),
    ("corrects", Unit::None),
    ("recorded", Unit::None),
    ("which-said", Unit::None),
];

#[derive(Debug)]
struct Correction {
    event: Position,
    at: Timestamp,
    kind: &'static str,
    stencil: Option<StencilCode>,
    printer: Option<MachineName>,
    /// Strokes before and after; none for washes.
    strokes: Option<(u64, u64)>,
    by: String,
    why: String,
    corrects: Position,
    original: Option<(Timestamp, String)>,
}

/// Correcting events within the period.
#[derive(Debug, Default)]
pub(super) struct Corrections(Vec<Correction>);

impl Corrections {
    pub(super) fn hear(&mut self, heard: &Heard<'_>) {
        let Some(corrects) = refers_to(heard.event()).filter(|_| heard.within) else {
            return;
        };
        let (kind, stencil, printer, strokes, by, why) = match heard.event() {
            Event::StrokesAssigned { stencil, machine, count, by, why, .. } => {
                ("assigned", Some(stencil), Some(machine), Some((0, *count)), by, why)
            }
            Event::StrokesWrittenOff { machine, count, by, why, .. } => {
                ("written off", None, Some(machine), Some((*count, 0)), by, why)
            }
            Event::StrokesCorrected { stencil, machine, was, is, by, why, .. } => {
                ("corrected", Some(stencil), machine.as_ref(), Some((*was, *is)), by, why)
            }
            Event::WashAnnulled { stencil, by, why, .. } => {
                ("wash annulled", Some(stencil), None, None, by, why)
            }
            _ => return,
        };
        self.0.push(Correction {
            event: heard.recorded.position,
            at: heard.recorded.fact.at,
            kind,
            stencil: stencil.cloned(),
            printer: printer.cloned(),
            strokes,
            by: by.clone(),
            why: why.clone(),
            corrects,
            original: heard.original.map(|original| (original.fact.time(), said(original))),
        });
    }

    pub(super) fn table(&self, review: &Review, asked: &Asked) -> Table {
        let picked = |one: &&Correction| {
            review.picks_stencil(asked, one.stencil.as_ref())
                && review.picks_machine(asked, one.printer.as_ref())
        };
        Table {
            name: "corrections",
            about: "What people assigned, wrote off, corrected and annulled, and what it was.",
            columns: COLUMNS,
            rows: self.0.iter().filter(picked).map(Correction::row).collect(),
            notes: vec![
                "was and is: strokes of the corrected event that counted for the stencil before \
                 and after. A correction counts when it was made."
                    .to_owned(),
            ],
            nothing: "Nothing was corrected.",
        }
    }
}

impl Correction {
    fn row(&self) -> Vec<Figure> {
        let figure = |value| Figure::of(value).citing(self.event);
        let strokes = |count: Option<u64>| {
            figure(count.map_or(Value::Nothing, |count| Value::Count(count.into())))
        };
        let (recorded, said) = self.original.as_ref().map_or_else(
            || (Figure::nothing(), Figure::nothing()),
            |(at, said)| (Figure::of(Value::Time(*at)), Figure::text(said)),
        );
        vec![
            Figure::event(self.event),
            figure(Value::Time(self.at)),
            Figure::text(self.kind),
            Figure::maybe(self.stencil.as_ref()),
            Figure::maybe(self.printer.as_ref()),
            strokes(self.strokes.map(|(was, _)| was)),
            strokes(self.strokes.map(|(_, is)| is)),
            Figure::text(&self.by),
            Figure::text(&self.why),
            Figure::event(self.corrects),
            recorded.citing(self.corrects),
            said.citing(self.corrects),
        ]
    }
}

/// What an event that can be corrected said.
fn said(original: &Recorded) -> String {
    match &original.fact.event {
        Event::StrokesBooked { stencil, machine, count, basis } => {
            format!("{count} strokes of {machine} booked to {stencil} ({})", basis.kind().as_str())
        }
        Event::StrokesAssigned { stencil, machine, count, of, .. } => {
            format!("{count} strokes of {machine}, told of by {of}, assigned to {stencil}")
        }
        Event::StrokesUnattributed { machine, count, basis, .. } => {
            format!("{count} strokes of {machine} are nobody's ({})", basis.kind().as_str())
        }
        Event::StencilRegistered { spec, starting_strokes, source, .. } => {
            format!("{} came in with {starting_strokes} strokes ({source})", spec.stencil)
        }
        Event::WashEnded { stencil, machine, .. } => {
            let washer = machine.as_ref().map_or("by hand", MachineName::as_str);
            format!("{stencil} washed, passed ({washer})")
        }
        _ => "something else".to_owned(),
    }
}
