//! The standards' measures of an alarm system, from what was told and when it was gone.
//!
//! Definitions: ANSI/ISA-18.2-2016, clause 16, and IEC 62682 (from memory), and the grid of
//! EEMUA 191 (second hand). Where they leave a number open, the constant here says so.

use std::collections::BTreeMap;

use stencilward_domain::alarm::{AlarmId, Priority};
use stencilward_domain::event::Position;
use stencilward_domain::time::Timestamp;

const SECOND: i64 = 1_000;
const MINUTE: i64 = 60 * SECOND;
const HOUR: i64 = 60 * MINUTE;

/// The period in which floods are counted, ms.
const PERIOD: i64 = 10 * MINUTE;

/// More alarms in a period, for each operator, begin a flood.
const FLOOD_BEGINS: u64 = 10;

/// Fewer alarms in a period, for each operator, end it (from memory).
const FLOOD_ENDS: u64 = 5;

/// More alarms in an hour, for each operator, are too many (from memory).
const HOUR_FULL: u64 = 30;

/// An alarm told so often within a minute chatters (from memory).
const CHATTERS: usize = 3;

/// An alarm gone in less, without anybody's doing, was fleeting. The standards say seconds; ours
/// holds the off-delays.
const FLEETING: i64 = MINUTE;

/// An alarm that stands for longer is stale.
const STALE: i64 = 24 * HOUR;

/// Alarms that are told the most are looked at first.
const TOP: usize = 10;

/// An alarm from the moment it was told until it was gone.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Spell {
    /// Which.
    pub id: AlarmId,
    /// The event that told it.
    pub told: Position,
    /// When that was.
    pub at: Timestamp,
    /// Since when it had stood by then: earlier, when it was told again.
    pub since: Timestamp,
    /// How urgent it was then.
    pub priority: Priority,
    /// When its condition was gone, or it was silenced or told again; none while it stands.
    pub gone: Option<Timestamp>,
    /// True when it was told again while it stood.
    pub again: bool,
    /// True when a person did something about it before it was gone.
    pub acted: bool,
}

/// A count, and the events that it counts.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Counted {
    /// How many.
    pub count: u64,
    /// The events.
    pub events: Vec<Position>,
}

impl<'a> FromIterator<&'a Spell> for Counted {
    fn from_iter<I: IntoIterator<Item = &'a Spell>>(spells: I) -> Self {
        let events: Vec<Position> = spells.into_iter().map(|spell| spell.told).collect();
        Self { count: events.len() as u64, events }
    }
}

/// What the standards measure. Rates are for each operator.
#[derive(Debug, Clone, PartialEq)]
pub struct Measures {
    /// Days that were measured; the standards ask for thirty.
    pub days: f64,
    /// Alarms told.
    pub told: Counted,
    /// On average in ten minutes.
    pub per_ten_minutes: f64,
    /// On average in an hour.
    pub per_hour: f64,
    /// On average in a day.
    pub per_day: f64,
    /// The most in one period of ten minutes.
    pub peak: f64,
    /// Share of periods of ten minutes with more than ten.
    pub full_periods: f64,
    /// Share of hours with more than thirty.
    pub full_hours: f64,
    /// Floods that began.
    pub floods: u64,
    /// Share of time in flood.
    pub in_flood: f64,
    /// Alarms that chattered: so many different ones, and what told them.
    pub chattering: Counted,
    /// Alarms told that were fleeting.
    pub fleeting: Counted,
    /// Alarms that stood for longer than a day.
    pub stale: Counted,
    /// Those told the most, and how often.
    pub top: Vec<(AlarmId, Counted)>,
    /// The share of these of all that was told.
    pub top_share: f64,
    /// What was told, by priority, the least urgent first.
    pub mix: Vec<(Priority, Counted)>,
}

/// Measures what was told from `from` until before `to`, for so many operators.
#[must_use]
pub fn measures(spells: &[Spell], (from, to): (Timestamp, Timestamp), operators: u32) -> Measures {
    let span = to.0.saturating_sub(from.0).max(1);
    let within: Vec<&Spell> =
        spells.iter().filter(|spell| from <= spell.at && spell.at < to).collect();
    let told: Counted = within.iter().copied().collect();
    let operators = u64::from(operators.max(1));
    // Seconds are not made out to be a day: of less than the unit it is what was told.
    let rate = |unit: i64| ratio(told.count, operators) * unit as f64 / span.max(unit) as f64;
    let periods = counts(&within, from, to, PERIOD);
    let hours = counts(&within, from, to, HOUR);
    let (floods, flooded) = floods(&periods, operators);
    let above = |counts: &[u64], most: u64| {
        let full = counts.iter().filter(|count| **count > most * operators).count();
        ratio(full as u64, counts.len() as u64)
    };
    let top = most_told(&within);
    let of_top = top.iter().map(|(_, counted)| counted.count).sum();
    Measures {
        days: span as f64 / (24 * HOUR) as f64,
        per_ten_minutes: rate(PERIOD),
        per_hour: rate(HOUR),
        per_day: rate(24 * HOUR),
        peak: ratio(periods.iter().copied().max().unwrap_or(0), operators),
        full_periods: above(&periods, FLOOD_BEGINS),
        full_hours: above(&hours, HOUR_FULL),
        floods,
        in_flood: ratio(flooded, periods.len() as u64),
        chattering: chattering(&within),
        fleeting: by_alarm(&within).values().flat_map(|told| fleeting(told)).collect(),
        stale: spells.iter().filter(|spell| is_stale(spell, from, to)).collect(),
        top_share: ratio(of_top, told.count),
        mix: Priority::ALL
            .map(|priority| {
                let of = within.iter().copied().filter(|spell| spell.priority == priority);
                (priority, of.collect())
            })
            .into(),
        told,
        top,
    }
}

/// A part of a whole; of nothing it is none.
#[must_use]
#[allow(clippy::cast_precision_loss)]
pub fn ratio(part: u64, whole: u64) -> f64 {
    if whole == 0 { 0.0 } else { part as f64 / whole as f64 }
}

/// How many were told in each period. The last one may be shorter.
fn counts(spells: &[&Spell], from: Timestamp, to: Timestamp, period: i64) -> Vec<u64> {
    let place = |at: i64| usize::try_from(at.saturating_sub(from.0).max(0) / period).unwrap_or(0);
    let mut counts = vec![0; place(to.0.saturating_sub(1)) + 1];
    for spell in spells {
        if let Some(count) = counts.get_mut(place(spell.at.0)) {
            *count += 1;
        }
    }
    counts
}

/// Floods that began, and periods in flood. The period that ends a flood is not in it.
fn floods(periods: &[u64], operators: u64) -> (u64, u64) {
    let (mut floods, mut flooded, mut in_flood) = (0, 0, false);
    for count in periods {
        let begins = !in_flood && *count > FLOOD_BEGINS * operators;
        in_flood = begins || (in_flood && *count >= FLOOD_ENDS * operators);
        floods += u64::from(begins);
        flooded += u64::from(in_flood);
    }
    (floods, flooded)
}

fn by_alarm<'a>(spells: &[&'a Spell]) -> BTreeMap<&'a AlarmId, Vec<&'a Spell>> {
    let mut by_alarm: BTreeMap<&AlarmId, Vec<&Spell>> = BTreeMap::new();
    for spell in spells {
        by_alarm.entry(&spell.id).or_default().push(spell);
    }
    by_alarm
}

fn most_told(spells: &[&Spell]) -> Vec<(AlarmId, Counted)> {
    let all = by_alarm(spells).into_iter();
    let mut all: Vec<(AlarmId, Counted)> =
        all.map(|(id, told)| (id.clone(), told.into_iter().collect())).collect();
    all.sort_by_key(|(_, counted)| std::cmp::Reverse(counted.count));
    all.truncate(TOP);
    all
}

fn chattering(spells: &[&Spell]) -> Counted {
    let chatters = |told: &Vec<&Spell>| {
        told.windows(CHATTERS).any(|some| match (some.first(), some.last()) {
            (Some(first), Some(last)) => last.at.0.saturating_sub(first.at.0) <= MINUTE,
            _ => false,
        })
    };
    let chattering: Vec<Vec<&Spell>> = by_alarm(spells).into_values().filter(chatters).collect();
    let count = chattering.len() as u64;
    Counted { count, ..chattering.into_iter().flatten().collect() }
}

/// Those of one alarm that were fleeting.
fn fleeting<'a>(told: &[&'a Spell]) -> impl Iterator<Item = &'a Spell> {
    told.iter().copied().filter(|spell| is_fleeting(spell, told))
}

/// Gone soon without anybody's doing, and not told again as soon.
fn is_fleeting(spell: &Spell, all: &[&Spell]) -> bool {
    let Some(gone) = spell.gone.filter(|_| !spell.acted) else {
        return false;
    };
    let soon =
        |from: Timestamp, to: Timestamp| (0..FLEETING).contains(&to.0.saturating_sub(from.0));
    let again = |other: &&&Spell| other.told != spell.told;
    soon(spell.at, gone)
        && !all.iter().filter(again).any(|other| soon(gone, other.at) || soon(other.at, spell.at))
}

/// Stood for longer than a day, some of it within the time measured.
fn is_stale(spell: &Spell, from: Timestamp, to: Timestamp) -> bool {
    let gone = spell.gone.unwrap_or(to).min(to);
    let stood = gone.0.saturating_sub(spell.since.0);
    !spell.again && spell.at < to && gone >= from && stood > STALE
}
