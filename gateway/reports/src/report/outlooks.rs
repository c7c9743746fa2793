//! When each stencil reaches its limits, from its history of use.

use std::collections::BTreeMap;

use stencilward_domain::event::{Position, StencilSpec};
use stencilward_domain::names::{ProductName, StencilCode};
use stencilward_domain::signal::Side;
use stencilward_domain::stencil::Stencil;
use stencilward_domain::wear::WearBand;

use super::figure::Value;
use super::heard::day_of;
use super::histories::{Entered, History};
use super::table::{Column, Table, Unit};
use super::wear::what;
use super::{Asked, Figure, Positions, Review};
use crate::forecast::{Calendar, Concession, Day, Forecast, Life, Outlook, Sets, Usage, forecast};

const COLUMNS: &[Column] = &[
    ("stencil", Unit::None),
    ("product", Unit::None),
    ("side", Unit::None),
    ("strokes-per-day", Unit::StrokesPerDay),
    ("days-used", Unit::Days),
    ("reorder", Unit::None),
    ("reorder-earliest", Unit::None),
    ("reorder-latest", Unit::None),
    ("stop", Unit::None),
    ("stop-earliest", Unit::None),
    ("stop-latest", Unit::None),
    ("set-by", Unit::None),
    ("order-by", Unit::None),
    ("remark", Unit::None),
];

/// How many stencils of one product and side shared its use from each day on, and what says so.
type Sharing<'a> = BTreeMap<(Option<&'a ProductName>, Option<Side>), (Vec<(Day, u32)>, Positions)>;

/// Forecasts of the stencils that are not retired.
pub(super) struct Outlooks<'a> {
    review: &'a Review,
    calendar: Calendar,
    sharing: Sharing<'a>,
    worked: Positions,
}

impl<'a> Outlooks<'a> {
    pub(super) fn new(review: &'a Review, asked: &Asked) -> Self {
        let today = day_of(asked.now);
        let worked = &review.histories.worked;
        let days: Vec<Day> = worked.keys().copied().collect();
        Self {
            review,
            calendar: Calendar::new(today, &days, &[]),
            sharing: sharing(review),
            worked: worked.values().copied().collect(),
        }
    }

    pub(super) fn of(&self, stencil: &Stencil, history: &History) -> Forecast {
        forecast(&self.usage(stencil, history), &self.calendar)
    }

    fn usage(&self, stencil: &Stencil, history: &History) -> Usage {
        let spec = &stencil.spec;
        let life = |rated, used, daily: &BTreeMap<Day, i64>| Life {
            rated,
            used,
            daily: daily.iter().map(|(day, count)| (*day, *count)).collect(),
        };
        let washes = |rated| life(rated, stencil.washes, &history.daily_washes);
        let since = |entered: Entered| entered.map(|(since, _)| since);
        Usage {
            strokes: life(spec.rated_strokes, stencil.strokes, &history.daily_strokes),
            washes: spec.rated_washes.map(washes),
            limits: self.review.setup.plant.policy.wear_limits(spec),
            sharing: self.sharing.get(&key(spec)).map(|(on, _)| on.clone()).unwrap_or_default(),
            concession: stencil.concession.as_ref().map(|granted| Concession {
                strokes_left: granted.value.strokes.saturating_sub(granted.value.used),
                until: granted.value.until.map(day_of),
            }),
            reorder_since: since(history.reorder),
            stopped_since: since(history.stopped),
            lead_time_days: spec.lead_days,
        }
    }

    /// Everything a forecast of this stencil comes from.
    pub(super) fn events(&self, stencil: &Stencil, history: &History) -> Positions {
        let strokes = history.ever.strokes();
        let mut events = Positions::from(history.spec);
        events.extend(&strokes.events);
        events.extend(&self.worked);
        if let Some((_, shared)) = self.sharing.get(&key(&stencil.spec)) {
            events.extend(shared);
        }
        if stencil.spec.rated_washes.is_some() {
            events.extend(&history.ever.washes.events);
        }
        let entered = [history.reorder, history.stopped].into_iter().flatten();
        let granted = stencil.concession.as_ref().map(|granted| granted.because);
        entered.map(|(_, event)| event).chain(granted).for_each(|event| events.add(event));
        events
    }

    fn row(&self, code: &StencilCode, stencil: &Stencil, history: &History) -> Vec<Figure> {
        let coming = self.of(stencil, history);
        let events =
            if self.review.traced { self.events(stencil, history) } else { Positions::default() };
        let cited = |value| Figure::of(value).citing_all(&events);
        let basis = coming.strokes;
        let days = basis.and_then(|basis| i128::try_from(basis.production_days).ok());
        let [product, side] = what(&stencil.spec, history);
        let mut row = vec![
            Figure::text(code),
            product,
            side,
            cited(basis.map_or(Value::Nothing, |basis| hundredths(basis.per_day))),
            cited(days.map_or(Value::Nothing, Value::Count)),
        ];
        row.extend(dates(coming.reorder).map(&cited));
        row.extend(dates(coming.stopped).map(&cited));
        row.push(cited(set_by(coming.stopped)));
        row.push(cited(coming.order_by.map_or(Value::Nothing, Value::Day)));
        row.push(Figure::maybe(remark(stencil, &coming)));
        row
    }
}

fn key(spec: &StencilSpec) -> (Option<&ProductName>, Option<Side>) {
    (spec.product.as_ref(), spec.side)
}

/// A stencil shares the use of its product from its first stroke until it is stopped or retired.
fn sharing(review: &Review) -> Sharing<'_> {
    let mut turns: BTreeMap<_, Vec<(Day, bool, Position)>> = BTreeMap::new();
    for (code, stencil) in &review.state.stencils {
        let shares = review.histories.of(code).map_or(&[][..], |history| &history.shares);
        if stencil.spec.product.is_some() {
            turns.entry(key(&stencil.spec)).or_default().extend(shares);
        }
    }
    let counted = |mut turns: Vec<(Day, bool, Position)>| {
        turns.sort_by_key(|(day, _, event)| (*day, *event));
        let mut sharing: Vec<(Day, u32)> = Vec::new();
        let mut now = 0_u32;
        for (day, joins, _) in &turns {
            now = if *joins { now + 1 } else { now.saturating_sub(1) };
            match sharing.last_mut() {
                Some((last, count)) if last == day => *count = now,
                _ => sharing.push((*day, now)),
            }
        }
        (sharing, turns.into_iter().map(|(_, _, event)| event).collect())
    };
    turns.into_iter().map(|(key, turns)| (key, counted(turns))).collect()
}

#[allow(clippy::cast_possible_truncation)]
fn hundredths(number: f64) -> Value {
    Value::Centi((number * 100.0).round() as i128)
}

/// The date, and the ends of its prediction interval; for what is reached, since when.
fn dates(outlook: Outlook) -> [Value; 3] {
    match outlook {
        Outlook::Expected(dates) => [dates.date, dates.earliest, dates.latest].map(Value::Day),
        Outlook::Reached { since } => [
            since.map_or(Value::Nothing, |s| Value::Day(day_of(s))),
            Value::Nothing,
            Value::Nothing,
        ],
        Outlook::NoDate { .. } => Default::default(),
    }
}

fn set_by(outlook: Outlook) -> Value {
    let Outlook::Expected(dates) = outlook else {
        return Value::Nothing;
    };
    let word = match dates.sets {
        Sets::Strokes => "strokes",
        Sets::Washes => "washes",
        Sets::ConcessionEnd => "end of concession",
    };
    Value::Text(word.to_owned())
}

fn remark(stencil: &Stencil, coming: &Forecast) -> Option<String> {
    let conceded = stencil.band.value == WearBand::Stopped;
    match (coming.reorder, coming.stopped) {
        (_, Outlook::Expected(_)) if conceded => Some("used under a concession".to_owned()),
        (_, Outlook::Reached { .. }) => Some("stopped".to_owned()),
        (Outlook::Reached { .. }, Outlook::NoDate { why }) => {
            Some(format!("due for reorder; no date of stop: {why}"))
        }
        (Outlook::Reached { .. }, _) => Some("due for reorder".to_owned()),
        (Outlook::NoDate { why }, _) => Some(format!("no date: {why}")),
        (_, Outlook::NoDate { why }) => Some(format!("no date of stop: {why}")),
        _ => None,
    }
}

/// What is to come for each stencil that is not retired.
pub(super) fn all(review: &Review, asked: &Asked) -> BTreeMap<StencilCode, Forecast> {
    let outlooks = Outlooks::new(review, asked);
    let used = review.stencils(asked).filter(|(_, stencil, _)| stencil.retired.is_none());
    used.map(|(code, stencil, history)| (code.clone(), outlooks.of(stencil, history))).collect()
}

/// The forecast of every stencil that is not retired.
pub(super) fn table(review: &Review, asked: &Asked) -> Table {
    let outlooks = Outlooks::new(review, asked);
    let used = review.stencils(asked).filter(|(_, stencil, _)| stencil.retired.is_none());
    let rows = used.map(|(code, stencil, history)| outlooks.row(code, stencil, history));
    Table {
        name: "forecast",
        about: "When each stencil is due for reorder and when it stops, from its own use.",
        columns: COLUMNS,
        rows: rows.collect(),
        notes: vec![
            "earliest and latest: nine of ten true dates should lie between them. order-by: the \
             earliest stop less the supplier's lead time. Days are UTC; the method and its limits \
             are in the README."
                .to_owned(),
        ],
        nothing: "No stencil is in use.",
    }
}
