//! When a stencil will reach the end of its life, from its own history of use.
//!
//! The strokes that a stencil makes per production day are taken for the increments of a random
//! walk with drift. A production day is a day on which the plant made strokes, so holidays and
//! shutdowns drop out of the rate. The last [`Method::window`] of them are cut into blocks (batch
//! means), so that days of use which come together show as scatter between blocks, and a line
//! through the origin is fitted to the blocks. What is left is used up at those production days h
//! for which
//!
//! > |left - b h| <= t sqrt(s² h + (s² / n + c² b²) h²)
//!
//! with the rate b, the scatter s of one production day, n production days of history and the
//! allowance c for a change of rate, [`Method::change`]. Without c this is the drift method's
//! forecast variance (R. J. Hyndman, G. Athanasopoulos, "Forecasting: Principles and Practice",
//! 3rd ed., §5.2 and 5.5), here solved for the horizon by Fieller's theorem. Use never runs
//! backwards, so "reached within h days" and "at least as much use in h days" are the same event,
//! and no further correction for a first passage is due. Where the rate is not significant the
//! interval has no end, and there is no date but a reason.
//!
//! How the method was chosen, and what it is worth: `README.md` of this crate.

mod blocks;
mod calendar;
mod day;
mod measure;
mod outlook;

use stencilward_domain::time::Timestamp;
use stencilward_domain::wear::{Share, WearLimits};

pub use blocks::Basis;
pub use calendar::Calendar;
pub use day::Day;
use measure::Measure;
pub use outlook::{Dates, NoDate, Outlook, Sets};

/// The confidence of every interval: nine of ten true dates should lie in theirs.
pub const CONFIDENCE: f64 = 0.9;

/// One measure of life: strokes, or washes.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Life {
    /// What the stencil is rated for.
    pub rated: u64,
    /// What is used up by now, today's included.
    pub used: u64,
    /// What was booked on each day, in any order; days without may be left out. A correction may
    /// be negative. Today and later are no history yet.
    pub daily: Vec<(Day, i64)>,
}

/// A concession as it stands now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Concession {
    /// Strokes left under it.
    pub strokes_left: u64,
    /// The day it ends, whatever was used.
    pub until: Option<Day>,
}

/// What a forecast needs to know of one stencil.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Usage {
    /// Its life in strokes.
    pub strokes: Life,
    /// Its life in washes, when washes are rated.
    pub washes: Option<Life>,
    /// Where the wear bands begin.
    pub limits: WearLimits,
    /// How many stencils of the same product and side, this one included, shared its use from each
    /// day on. Empty: it was always alone.
    pub sharing: Vec<(Day, u32)>,
    /// Its concession, used up or not.
    pub concession: Option<Concession>,
    /// Since when it is due for reorder, if it is.
    pub reorder_since: Option<Timestamp>,
    /// Since when it is stopped, if it is.
    pub stopped_since: Option<Timestamp>,
    /// How long the supplier takes for its successor, in days.
    pub lead_time_days: Option<u32>,
}

/// What is to come for one stencil.
#[derive(Debug, Clone, PartialEq)]
pub struct Forecast {
    /// When its successor should be ordered by the plant's wear limits.
    pub reorder: Outlook,
    /// When it may no longer be used: at the stop limit, or at the end of its concession.
    pub stopped: Outlook,
    /// The last day to order its successor: the early end of `stopped` less the lead time. It may
    /// lie in the past. None without a lead time or without a date.
    pub order_by: Option<Day>,
    /// What the strokes' part of it rests on. None without enough history.
    pub strokes: Option<Basis>,
    /// What the washes' part rests on. None without enough history, or when washes are not rated.
    pub washes: Option<Basis>,
}

/// The numbers that back-testing chose.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Method {
    /// So many production days are looked back, at most.
    pub window: usize,
    /// Fewer than this are too few for a date.
    pub fewest_days: usize,
    /// They are cut into so many blocks, at most.
    pub most_blocks: usize,
    /// No block is shorter, in production days.
    pub shortest_block: usize,
    /// Standard deviation of the rate ahead about the rate seen, as a share of it.
    pub change: f64,
    /// Whether past use is rescaled to how many stencils share it today.
    pub rescale_shared: bool,
}

impl Default for Method {
    fn default() -> Self {
        Self {
            window: 120,
            fewest_days: 20,
            most_blocks: 8,
            shortest_block: 5,
            change: 0.2,
            rescale_shared: true,
        }
    }
}

/// The forecast for one stencil on the calendar's today. The same input gives the same forecast.
#[must_use]
pub fn forecast(usage: &Usage, calendar: &Calendar) -> Forecast {
    forecast_by(&Method::default(), usage, calendar)
}

/// As [`forecast`], by another method: for back-testing.
#[must_use]
pub fn forecast_by(method: &Method, usage: &Usage, calendar: &Calendar) -> Forecast {
    let measure = |sets, life| Measure::new(sets, life, (usage, calendar), method);
    let strokes = measure(Sets::Strokes, &usage.strokes);
    let washes = usage.washes.as_ref().map(|washes| measure(Sets::Washes, washes));
    let reaches = |share, since| {
        let by_strokes = strokes.reaches(share, since);
        let by_washes = washes.as_ref().map(|washes| washes.reaches(share, since));
        by_washes.map_or(by_strokes, |by_washes| by_strokes.or_earlier(by_washes))
    };
    let limits = usage.limits;
    let worn = reaches(limits.stop, usage.stopped_since);
    let stopped = match usage.concession {
        Some(concession) => conceded(worn, &strokes, concession, limits.stop, calendar.today()),
        None => worn,
    };
    Forecast {
        reorder: reaches(limits.reorder, usage.reorder_since),
        stopped,
        order_by: usage.lead_time_days.and_then(|days| order_by(stopped, days, calendar.today())),
        strokes: strokes.basis(),
        washes: washes.as_ref().and_then(Measure::basis),
    }
}

/// When use ends under a concession: not before the stop limit, then with the concession's strokes
/// or on its last day, whichever is first.
fn conceded(
    worn: Outlook,
    strokes: &Measure,
    concession: Concession,
    stop: Share,
    today: Day,
) -> Outlook {
    let over = concession.until.is_some_and(|until| until < today);
    let until_stop = match worn {
        Outlook::NoDate { .. } => return worn,
        _ if concession.strokes_left == 0 || over => return worn,
        Outlook::Reached { .. } => 0,
        Outlook::Expected(_) => strokes.left(stop),
    };
    let used_up = strokes.after(until_stop.saturating_add(concession.strokes_left));
    let ends = concession.until.map_or(used_up, |until| used_up.ended(today, until));
    ends.not_before(worn)
}

fn order_by(stopped: Outlook, lead_time_days: u32, today: Day) -> Option<Day> {
    let needed = match stopped {
        Outlook::Reached { .. } => today,
        Outlook::Expected(dates) => dates.earliest,
        Outlook::NoDate { .. } => return None,
    };
    Some(Day(needed.0.saturating_sub_unsigned(lead_time_days)))
}
