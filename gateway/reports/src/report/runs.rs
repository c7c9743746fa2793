//! Orders at printers: which stencils made their strokes, and how each was when it began.

use std::collections::BTreeMap;

use stencilward_domain::event::{Event, Position};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::signal::OrderSpec;
use stencilward_domain::time::Timestamp;

use super::condition::{Allowed, Condition};
use super::figure::Tally;
use super::heard::Heard;
use super::histories::Histories;

/// An order at a printer, from its start to its end.
#[derive(Debug)]
pub(super) struct Run {
    pub(super) spec: OrderSpec,
    /// The event that says what it asks for.
    pub(super) said: Position,
    pub(super) printer: MachineName,
    pub(super) started: (Timestamp, Position),
    pub(super) finished: Option<(Timestamp, Position)>,
    /// It began or made strokes within the period.
    pub(super) within: bool,
    pub(super) parts: BTreeMap<StencilCode, Part>,
    /// Strokes that nobody attributed yet.
    pub(super) open: Tally,
}

/// What one stencil did in a run.
#[derive(Debug, Default)]
pub(super) struct Part {
    pub(super) strokes: Tally,
    /// How it was before its first stroke that was booked; none when all were assigned later.
    pub(super) start: Option<Condition>,
}

/// All runs in the order in which they began.
#[derive(Debug, Default)]
pub(super) struct Runs {
    pub(super) runs: Vec<Run>,
    /// What each printer was at from which event on.
    at: BTreeMap<MachineName, Vec<(Position, Option<usize>)>>,
    /// The runs, if any, of strokes that people assigned: an assignment may be corrected.
    assigned: BTreeMap<Position, Option<usize>>,
    allowed: Allowed,
}

impl Runs {
    /// `past`: what the stencils did before this event.
    pub(super) fn hear(&mut self, heard: &Heard<'_>, past: &Histories) {
        self.allowed.hear(heard);
        match heard.event() {
            Event::OrderStarted { machine, spec, .. } => self.start(machine, spec, heard),
            Event::OrderFinished { machine, order, .. } => {
                let now = self.at.get(machine).and_then(|turns| turns.last()?.1);
                if let Some(run) = now.and_then(|index| self.runs.get_mut(index))
                    && run.spec.order == *order
                {
                    run.finished = Some((heard.recorded.fact.time(), heard.recorded.position));
                    self.turn(machine, heard.recorded.position, None);
                }
            }
            Event::OrderReleased { spec, .. } => {
                let latest = self.at.values().filter_map(|turns| turns.last()?.1);
                for index in latest.collect::<Vec<_>>() {
                    if let Some(run) = self.runs.get_mut(index)
                        && run.spec.order == spec.order
                    {
                        run.spec = spec.clone();
                        run.said = heard.recorded.position;
                    }
                }
            }
            _ => self.count(heard, past),
        }
    }

    fn start(&mut self, machine: &MachineName, spec: &OrderSpec, heard: &Heard<'_>) {
        let started = (heard.recorded.fact.time(), heard.recorded.position);
        self.turn(machine, heard.recorded.position, Some(self.runs.len()));
        self.runs.push(Run {
            spec: spec.clone(),
            said: heard.recorded.position,
            printer: machine.clone(),
            started,
            finished: None,
            within: heard.within,
            parts: BTreeMap::new(),
            open: Tally::default(),
        });
    }

    fn turn(&mut self, machine: &MachineName, from: Position, run: Option<usize>) {
        self.at.entry(machine.clone()).or_default().push((from, run));
    }

    /// The run that a printer was at when an event was recorded.
    fn run_at(&self, machine: &MachineName, position: Position) -> Option<usize> {
        if let Some(index) = self.assigned.get(&position) {
            return *index;
        }
        let turns = self.at.get(machine)?;
        let after = turns.partition_point(|(from, _)| *from <= position);
        turns.get(after.checked_sub(1)?)?.1
    }

    fn count(&mut self, heard: &Heard<'_>, past: &Histories) {
        let position = heard.recorded.position;
        let (machine, made) = match heard.event() {
            Event::StrokesBooked { machine, .. } | Event::StrokesUnattributed { machine, .. } => {
                (machine, position)
            }
            Event::StrokesAssigned { machine, of, .. }
            | Event::StrokesWrittenOff { machine, of, .. } => (machine, *of),
            Event::StrokesCorrected { machine: Some(machine), corrects, .. } => {
                (machine, *corrects)
            }
            _ => return,
        };
        let run = self.run_at(machine, made);
        if let Event::StrokesAssigned { .. } = heard.event() {
            self.assigned.insert(position, run);
        }
        let Some(run) = run.and_then(|index| self.runs.get_mut(index)) else {
            return;
        };
        if heard.within {
            run.within = true;
            run.count(heard, (&self.allowed, past));
        }
    }
}

impl Run {
    fn count(&mut self, heard: &Heard<'_>, known: (&Allowed, &Histories)) {
        let mark = heard.mark;
        match heard.event() {
            Event::StrokesBooked { stencil, count, .. } => {
                let printer = &self.printer;
                let part = self.parts.entry(stencil.clone()).or_default();
                if part.start.is_none() {
                    part.start = Condition::before(heard, stencil, printer, known);
                }
                part.strokes.add(*count, mark);
            }
            Event::StrokesUnattributed { count, .. } => self.open.add(*count, mark),
            Event::StrokesAssigned { stencil, count, .. } => {
                self.open.add(-i128::from(*count), mark);
                self.parts.entry(stencil.clone()).or_default().strokes.add(*count, mark);
            }
            Event::StrokesWrittenOff { count, .. } => self.open.add(-i128::from(*count), mark),
            Event::StrokesCorrected { stencil, was, is, .. } => {
                let net = i128::from(*is) - i128::from(*was);
                self.parts.entry(stencil.clone()).or_default().strokes.add(net, mark);
            }
            _ => {}
        }
    }
}
