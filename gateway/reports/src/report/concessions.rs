//! Concessions: who allowed what, and what was made of it.

use std::collections::BTreeMap;

use stencilward_domain::event::{Event, Position};
use stencilward_domain::names::StencilCode;
use stencilward_domain::state::stencil_of;
use stencilward_domain::time::Timestamp;
use stencilward_domain::wear::WearBand;

use super::figure::{Tally, Value};
use super::heard::Heard;
use super::table::{Column, Table, Unit};
use super::{Asked, Figure, Review};

const COLUMNS: &[Column] = &[
    ("concession", Unit::None),
    ("stencil", Unit::None),
    ("granted", Unit::None),
    ("by", Unit::None),
    ("why", Unit::None),
    ("allowed", Unit::Strokes),
    ("used", Unit::Strokes),
    ("made", Unit::Strokes),
    ("until", Unit::None),
    ("status", Unit::None),
];

#[derive(Debug)]
struct Granted {
    stencil: StencilCode,
    at: Timestamp,
    /// By a clock that never runs backwards.
    from: Timestamp,
    allowed: u64,
    until: Option<Timestamp>,
    by: String,
    why: String,
    used: Tally,
    made: Tally,
    end: Option<End>,
}

#[derive(Debug, Clone, Copy)]
struct End {
    time: Timestamp,
    event: Position,
    how: &'static str,
}

/// All concessions by the event that granted them.
#[derive(Debug, Default)]
pub(super) struct Concessions {
    granted: BTreeMap<Position, Granted>,
    latest: BTreeMap<StencilCode, Position>,
}

impl Concessions {
    pub(super) fn hear(&mut self, heard: &Heard<'_>) {
        match heard.event() {
            Event::ConcessionGranted { stencil, strokes, valid_until, by, why } => {
                self.end(stencil, "replaced", heard);
                let granted = Granted {
                    stencil: stencil.clone(),
                    at: heard.recorded.fact.at,
                    from: heard.time,
                    allowed: *strokes,
                    until: *valid_until,
                    by: by.clone(),
                    why: why.clone(),
                    used: Tally::default(),
                    made: Tally::default(),
                    end: None,
                };
                self.granted.insert(heard.recorded.position, granted);
                self.latest.insert(stencil.clone(), heard.recorded.position);
            }
            Event::ConcessionWithdrawn { stencil, .. } => self.end(stencil, "withdrawn", heard),
            Event::StencilRegistered { spec, .. } => self.end(&spec.stencil, "replaced", heard),
            Event::StrokesBooked { count, .. } => {
                self.strokes(0, *count, heard.recorded.position, heard);
            }
            Event::StrokesAssigned { of, count, .. } => self.strokes(0, *count, *of, heard),
            Event::StrokesCorrected { corrects, was, is, .. } => {
                self.strokes(*was, *is, *corrects, heard);
            }
            _ => {}
        }
    }

    fn end(&mut self, stencil: &StencilCode, how: &'static str, heard: &Heard<'_>) {
        let latest = self.latest.remove(stencil);
        if let Some(granted) = latest.and_then(|position| self.granted.get_mut(&position)) {
            granted.end = Some(End { time: heard.time, event: heard.recorded.position, how });
        }
    }

    /// `is` strokes instead of `was`, made when the event `of` says. Those of a stopped stencil
    /// are used of what is allowed, as the rules count them.
    fn strokes(&mut self, was: u64, is: u64, of: Position, heard: &Heard<'_>) {
        let Some(code) = stencil_of(heard.event()) else {
            return;
        };
        let Some(position) = self.latest.get(code) else {
            return;
        };
        let stencil = heard.before.stencils.get(code);
        let Some(granted) = self.granted.get_mut(position) else {
            return;
        };
        if stencil.is_some_and(|stencil| stencil.band.value == WearBand::Stopped) {
            granted.used.replace(was, is, heard.mark);
        }
        if of > *position {
            granted.made.replace(was, is, heard.mark);
        }
    }

    pub(super) fn table(&self, review: &Review, asked: &Asked) -> Table {
        let period = review.period;
        let listed = self.granted.iter().filter(|(_, granted)| {
            let ended_before = |from| granted.end.is_some_and(|end| end.time < from);
            let begun = period.to.is_none_or(|to| granted.from <= to);
            begun && !period.from.is_some_and(ended_before)
        });
        let picked = |granted: &Granted| review.picks_stencil(asked, Some(&granted.stencil));
        let rows = listed.filter(|(_, granted)| picked(granted)).map(|(position, granted)| {
            let from_grant = |value| Figure::of(value).citing(*position);
            vec![
                Figure::event(*position),
                Figure::text(&granted.stencil),
                from_grant(Value::Time(granted.at)),
                from_grant(Value::Text(granted.by.clone())),
                from_grant(Value::Text(granted.why.clone())),
                from_grant(Value::Count(granted.allowed.into())),
                granted.used.figure(),
                granted.made.figure(),
                from_grant(granted.until.map_or(Value::Nothing, Value::Time)),
                granted.status(asked.now).citing(*position),
            ]
        });
        Table {
            name: "concessions",
            about: "Permissions to use a worn stencil.",
            columns: COLUMNS,
            rows: rows.collect(),
            notes: vec![
                "used: strokes made while stopped, which count against what is allowed. made: all \
                 strokes since it was granted, those before the stop limit included."
                    .to_owned(),
            ],
            nothing: "No concession was granted.",
        }
    }
}

impl Granted {
    fn status(&self, now: Timestamp) -> Figure {
        if let Some(end) = self.end {
            return Figure::text(end.how).citing(end.event);
        }
        if self.used.sum >= i128::from(self.allowed) {
            Figure::text("used up").citing_all(&self.used.events)
        } else if self.until.is_some_and(|until| until <= now) {
            Figure::text("expired")
        } else {
            Figure::text("in force")
        }
    }
}
