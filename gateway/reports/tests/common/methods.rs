//! The methods that the back-test compares: the chosen one, naive ones, and what was rejected.

use super::stencils::Case;
use stencilward_reports::forecast::{
    CONFIDENCE, Calendar, Dates, Day, Life, Method, Outlook, Usage, forecast_by,
};
use stencilward_reports::statistics::{About, Line};

/// A forecast of the day on which use ends; naive ones have no interval.
#[derive(Clone, Copy)]
pub struct Answer {
    pub date: Day,
    pub interval: Option<(Day, Day)>,
}

/// When the use of a stencil ends, or nothing.
type Asked = dyn Fn(&Case) -> Option<Answer>;

/// A method under its name in the table.
pub struct Contender {
    pub name: &'static str,
    pub answer: Box<Asked>,
}

/// Our forecast by a variant of the method.
pub fn ours(name: &'static str, method: Method) -> Contender {
    let answer = move |case: &Case| dated(&method, &case.usage, &case.calendar);
    Contender { name, answer: Box::new(answer) }
}

fn dated(method: &Method, usage: &Usage, calendar: &Calendar) -> Option<Answer> {
    match forecast_by(method, usage, calendar).stopped {
        Outlook::Expected(Dates { date, earliest, latest, .. }) => {
            Some(Answer { date, interval: Some((earliest, latest)) })
        }
        Outlook::Reached { .. } | Outlook::NoDate { .. } => None,
    }
}

/// Calendar days left over the mean rate since the first use.
pub fn since_first_use() -> Contender {
    let rate = |life: &Life, today: Day| {
        let first = life.daily.iter().map(|(day, _)| *day).min()?;
        Some(used_from(life, first) / f64::from(today.0 - first.0))
    };
    naive("naive: mean rate since first use", rate)
}

/// Calendar days left over the rate of the last 30 days.
pub fn last_30_days() -> Contender {
    naive("naive: rate of the last 30 days", |life, today| {
        Some(used_from(life, today.plus(-30)) / 30.0)
    })
}

fn naive(name: &'static str, rate: impl Fn(&Life, Day) -> Option<f64> + 'static) -> Contender {
    let answer = move |case: &Case| {
        let today = case.calendar.today();
        let date = |(life, left): (&Life, f64)| {
            let days = left / rate(life, today).filter(|rate| *rate > 0.0)?;
            Some(Answer { date: today.plus(days as i32), interval: None })
        };
        earliest(case, date)
    };
    Contender { name, answer: Box::new(answer) }
}

/// The mean of all production days, one this many days old weighing half.
pub fn exponentially_weighted(half_life: f64) -> Contender {
    let answer = move |case: &Case| {
        earliest(case, |(life, left)| {
            let calendar = &case.calendar;
            let (start, now) = production_days(life, calendar)?;
            let weight = |at: usize| 0.5_f64.powf((now - at) as f64 / half_life);
            let used = |(day, used): &(Day, i64)| {
                weight(calendar.worked_before(*day).min(now - 1)) * *used as f64
            };
            let used: f64 = life.daily.iter().map(used).sum();
            let rate = used / (start..now).map(weight).sum::<f64>();
            Some(Answer { date: calendar.after(left / rate)?, interval: None })
        })
    };
    Contender { name: "exponentially weighted mean rate, half-life 60", answer: Box::new(answer) }
}

/// The chosen method, told that every calendar day is a production day.
pub fn calendar_days() -> Contender {
    let answer = |case: &Case| {
        let today = case.calendar.today();
        let first = case.worked.first()?;
        let days: Vec<Day> = (first.0..today.0).map(Day).collect();
        dated(&Method::default(), &case.usage, &Calendar::new(today, &days, &[]))
    };
    Contender { name: "calendar days for production days", answer: Box::new(answer) }
}

/// Least squares of cumulative use on production days, read backwards.
pub fn cumulative_line() -> Contender {
    let answer = |case: &Case| {
        earliest(case, |(life, left)| {
            let calendar = &case.calendar;
            let (start, now) = production_days(life, calendar)?;
            let now = now - start;
            let mut sums = vec![0.0; now];
            for (day, used) in &life.daily {
                sums[(calendar.worked_before(*day) - start).min(now - 1)] += *used as f64;
            }
            let mut sum = 0.0;
            let points: Vec<(f64, f64)> = sums
                .iter()
                .enumerate()
                .map(|(at, used)| {
                    sum += used;
                    (at as f64 + 1.0, sum)
                })
                .collect();
            let line = Line::fit(&points)?;
            let goal = sum + left;
            let within = line.inverse_interval(goal, About::Observation, CONFIDENCE)?;
            let date = |x: f64| calendar.after(x - now as f64);
            let interval = Some((date(within.low)?, date(within.high)?));
            Some(Answer { date: date(line.inverse(goal))?, interval })
        })
    };
    Contender { name: "line through cumulative use, read backwards", answer: Box::new(answer) }
}

/// The production days before the first use, and before today. None without any between.
fn production_days(life: &Life, calendar: &Calendar) -> Option<(usize, usize)> {
    let first = life.daily.iter().map(|(day, _)| *day).min()?;
    let now = calendar.worked_before(calendar.today());
    let start = calendar.worked_before(first);
    (start < now).then_some((start, now))
}

fn used_from(life: &Life, from: Day) -> f64 {
    life.daily.iter().filter(|(day, _)| *day >= from).map(|(_, used)| *used as f64).sum()
}

/// The earlier date of both measures, at latest the end of the concession.
fn earliest(case: &Case, date: impl Fn((&Life, f64)) -> Option<Answer>) -> Option<Answer> {
    let usage = &case.usage;
    let left = |life: &Life| (0.99_f64 * life.rated as f64).ceil() - life.used as f64;
    let strokes = usage.concession.map_or(left(&usage.strokes), |c| c.strokes_left as f64);
    let strokes = date((&usage.strokes, strokes));
    let washes = usage.washes.as_ref().and_then(|washes| date((washes, left(washes))));
    let until = usage.concession.and_then(|concession| concession.until);
    let until = until.map(|date| Answer { date, interval: Some((date, date)) });
    [strokes, washes, until].into_iter().flatten().reduce(|one, other| Answer {
        date: one.date.min(other.date),
        interval: one.interval.zip(other.interval).map(|(a, b)| (a.0.min(b.0), a.1.min(b.1))),
    })
}
