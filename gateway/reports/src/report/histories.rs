//! What each stencil did: the sums behind wear, products, cost and forecasts.

use std::collections::BTreeMap;

use stencilward_domain::event::{Event, Position};
use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::WashOutcome;
use stencilward_domain::state::stencil_of;
use stencilward_domain::stencil::Stencil;
use stencilward_domain::time::Timestamp;
use stencilward_domain::wear::WearBand;

use super::figure::{Mark, Tally};
use super::heard::Heard;
use crate::forecast::Day;

/// Use of a stencil, each part with the events it comes from.
#[derive(Debug, Default)]
pub(super) struct Use {
    /// Strokes from before the gateway, as corrected.
    pub(super) before: Tally,
    pub(super) booked: Tally,
    pub(super) assigned: Tally,
    /// What corrections of booked and assigned strokes added, or took away.
    pub(super) corrected: Tally,
    pub(super) wipes: Tally,
    /// Washes that passed, less those that were annulled.
    pub(super) washes: Tally,
}

impl Use {
    /// Strokes made under the gateway.
    pub(super) fn counted(&self) -> Tally {
        [&self.booked, &self.assigned, &self.corrected].into_iter().sum()
    }

    /// All strokes.
    pub(super) fn strokes(&self) -> Tally {
        self.counted().plus(&self.before)
    }

    fn hear(&mut self, heard: &Heard<'_>) {
        let mark = heard.mark;
        match heard.event() {
            Event::StencilRegistered { starting_strokes, .. } => {
                self.before.add(*starting_strokes, mark);
            }
            Event::StrokesBooked { count, .. } => self.booked.add(*count, mark),
            Event::StrokesAssigned { count, .. } => self.assigned.add(*count, mark),
            Event::StrokesCorrected { was, is, machine, .. } => {
                let part = if machine.is_some() { &mut self.corrected } else { &mut self.before };
                part.add(i128::from(*is) - i128::from(*was), mark);
            }
            Event::WipesCounted { count, .. } => self.wipes.add(*count, mark),
            Event::WashEnded { outcome: WashOutcome::Passed, .. } => self.washes.add(1, mark),
            Event::WashAnnulled { .. } => self.washes.add(-1, mark),
            _ => {}
        }
    }
}

/// The first event by which a stencil was in a band.
pub(super) type Entered = Option<(Timestamp, Position)>;

/// What one stencil did.
#[derive(Debug, Default)]
pub(super) struct History {
    pub(super) ever: Use,
    within: Use,
    pub(super) since_wash: Tally,
    /// The event that says what it is.
    pub(super) spec: Position,
    pub(super) reorder: Entered,
    pub(super) stopped: Entered,
    /// Strokes by the day on which they were made, corrections on the day of what they correct.
    pub(super) daily_strokes: BTreeMap<Day, i64>,
    pub(super) daily_washes: BTreeMap<Day, i64>,
    /// When it joined (true) or left the stencils that share the use of its product, by which
    /// event.
    pub(super) shares: Vec<(Day, bool, Position)>,
}

/// What all stencils did.
#[derive(Debug, Default)]
pub(super) struct Histories {
    stencils: BTreeMap<StencilCode, History>,
    /// Days on which the plant made strokes, and the first event that says so.
    pub(super) worked: BTreeMap<Day, Position>,
    limited: bool,
}

impl Histories {
    /// `limited`: a period limits the flows, so that they are kept beside the whole.
    pub(super) fn new(limited: bool) -> Self {
        Self { limited, ..Self::default() }
    }

    pub(super) fn of(&self, code: &StencilCode) -> Option<&History> {
        self.stencils.get(code)
    }

    /// What it did within the period.
    pub(super) fn flow<'a>(&self, history: &'a History) -> &'a Use {
        if self.limited { &history.within } else { &history.ever }
    }

    pub(super) fn hear(&mut self, heard: &Heard<'_>) {
        if let Event::StrokesBooked { .. } | Event::StrokesUnattributed { .. } = heard.event() {
            self.worked.entry(heard.day()).or_insert(heard.recorded.position);
        }
        let Some(code) = stencil_of(heard.event()) else {
            return;
        };
        if let Event::StencilRegistered { .. } = heard.event() {
            self.stencils.insert(code.clone(), History::default());
        }
        let Some(history) = self.stencils.get_mut(code) else {
            return;
        };
        history.ever.hear(heard);
        if self.limited && heard.within {
            history.within.hear(heard);
        }
        history.hear(heard, heard.before.stencils.get(code));
    }
}

impl History {
    fn hear(&mut self, heard: &Heard<'_>, before: Option<&Stencil>) {
        let position = heard.recorded.position;
        match heard.event() {
            Event::StencilRegistered { .. } | Event::StencilRevised { .. } => self.spec = position,
            Event::WearBandEntered { band, .. } => self.enter(*band, heard),
            Event::Retired { .. } => self.share(heard, false),
            _ => {}
        }
        self.follow_wash(heard, before);
        self.follow_days(heard);
    }

    fn enter(&mut self, band: WearBand, heard: &Heard<'_>) {
        let entered = Some((heard.recorded.fact.time(), heard.recorded.position));
        self.reorder = if band >= WearBand::Reorder { self.reorder.or(entered) } else { None };
        self.stopped = if band == WearBand::Stopped { entered } else { None };
        if band == WearBand::Stopped {
            self.share(heard, false);
        }
    }

    fn follow_wash(&mut self, heard: &Heard<'_>, before: Option<&Stencil>) {
        let (mark, position): (Mark, Position) = (heard.mark, heard.recorded.position);
        let washed_off = |of: Position, made: Option<Timestamp>| {
            before.is_some_and(|stencil| stencil.washed_off(of, made))
        };
        let then = heard.recorded.fact.happened;
        match heard.event() {
            Event::StrokesBooked { count, .. } if !washed_off(position, then) => {
                self.since_wash.add(*count, mark);
            }
            Event::StrokesAssigned { of, until, count, .. } if !washed_off(*of, Some(*until)) => {
                self.since_wash.add(*count, mark);
            }
            Event::StrokesCorrected { corrects, was, is, made, .. }
                if !washed_off(*corrects, *made) =>
            {
                self.since_wash.replace(*was, *is, mark);
            }
            Event::WashEnded { outcome: WashOutcome::Passed, .. }
                if !washed_off(position, then) =>
            {
                let left = before.zip(then).map_or(0, |(before, then)| before.strokes_after(then));
                self.since_wash = Tally::default();
                self.since_wash.add(left, mark);
            }
            _ => {}
        }
    }

    fn follow_days(&mut self, heard: &Heard<'_>) {
        let (strokes, washes) = match heard.event() {
            Event::StrokesBooked { count, .. } | Event::StrokesAssigned { count, .. } => {
                self.share(heard, true);
                (whole(*count), 0)
            }
            Event::StrokesCorrected { was, is, machine: Some(_), .. } => {
                (whole(*is).saturating_sub(whole(*was)), 0)
            }
            Event::WashEnded { outcome: WashOutcome::Passed, .. } => (0, 1),
            Event::WashAnnulled { .. } => (0, -1),
            _ => return,
        };
        let day = heard.day_made();
        for (daily, amount) in
            [(&mut self.daily_strokes, strokes), (&mut self.daily_washes, washes)]
        {
            if amount != 0 {
                let sum = daily.entry(day).or_default();
                *sum = sum.saturating_add(amount);
            }
        }
    }

    fn share(&mut self, heard: &Heard<'_>, joins: bool) {
        if self.shares.last().map_or(joins, |(_, last, _)| *last != joins) {
            let day = self.shares.last().map_or(heard.day(), |(last, ..)| heard.day().max(*last));
            self.shares.push((day, joins, heard.recorded.position));
        }
    }
}

fn whole(count: u64) -> i64 {
    i64::try_from(count).unwrap_or(i64::MAX)
}
