//! The forecast of a stencil, from the events it cites.

use std::collections::BTreeMap;

use stencilward_domain::event::{Event, Recorded};
use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::WashOutcome;
use stencilward_domain::time::Timestamp;
use stencilward_domain::wear::{WearBand, WearLimits};
use stencilward_reports::forecast::{Calendar, Concession, Day, Life, Outlook, Usage, forecast};
use stencilward_reports::report::{Period, TableName, Value};

use super::plant::{code, event, review};
use super::story;
use super::totals::cell;

fn day(time: Timestamp) -> Day {
    Day(i32::try_from(time.0.div_euclid(86_400_000)).unwrap())
}

/// The use of a stencil, from some events.
fn usage(cited: &[&Recorded], ledger: &[Recorded], of: &StencilCode) -> Usage {
    let mut usage = Usage { limits: WearLimits::default(), ..Usage::default() };
    let (mut daily, mut washed, mut washes) = (BTreeMap::new(), BTreeMap::new(), Life::default());
    for recorded in cited {
        let made = |position: u64| day(event(ledger, position).unwrap().fact.at);
        let today = day(recorded.fact.at);
        match &recorded.fact.event {
            Event::StencilRegistered { spec, starting_strokes, .. } if spec.stencil == *of => {
                usage.strokes.rated = spec.rated_strokes;
                usage.strokes.used += starting_strokes;
                washes.rated = spec.rated_washes.unwrap();
                usage.lead_time_days = spec.lead_days;
            }
            Event::StrokesBooked { stencil, count, .. } if stencil == of => {
                usage.strokes.used += count;
                *daily.entry(today).or_insert(0) += i64::try_from(*count).unwrap();
            }
            Event::StrokesAssigned { stencil, count, until, .. } if stencil == of => {
                usage.strokes.used += count;
                *daily.entry(day(*until)).or_insert(0) += i64::try_from(*count).unwrap();
            }
            Event::StrokesCorrected { stencil, corrects, was, is, machine, .. }
                if stencil == of =>
            {
                usage.strokes.used = usage.strokes.used + is - was;
                if machine.is_some() {
                    let net = i64::try_from(*is).unwrap() - i64::try_from(*was).unwrap();
                    *daily.entry(made(corrects.0)).or_insert(0) += net;
                }
            }
            Event::WashEnded { stencil, outcome: WashOutcome::Passed, .. } if stencil == of => {
                washes.used += 1;
                *washed.entry(today).or_insert(0) += 1;
            }
            Event::WashAnnulled { stencil, corrects, .. } if stencil == of => {
                washes.used -= 1;
                *washed.entry(made(corrects.0)).or_insert(0) -= 1;
            }
            Event::WearBandEntered { stencil, band, .. } if stencil == of => match band {
                WearBand::Reorder => usage.reorder_since = Some(recorded.fact.at),
                WearBand::Stopped => usage.stopped_since = Some(recorded.fact.at),
                WearBand::InService => {}
            },
            Event::ConcessionGranted { stencil, strokes, valid_until, .. } if stencil == of => {
                let until = valid_until.map(day);
                usage.concession = Some(Concession { strokes_left: *strokes, until });
            }
            _ => {}
        }
    }
    usage.strokes.daily = daily.into_iter().collect();
    washes.daily = washed.into_iter().collect();
    usage.washes = Some(washes);
    usage
}

/// Both stencils of the product joined with their first stroke.
fn sharing(cited: &[&Recorded]) -> Vec<(Day, u32)> {
    let mut first: BTreeMap<&StencilCode, Day> = BTreeMap::new();
    for recorded in cited {
        if let Event::StrokesBooked { stencil, .. } | Event::StrokesAssigned { stencil, .. } =
            &recorded.fact.event
            && [code("ST-1"), code("ST-2")].contains(stencil)
        {
            first.entry(stencil).or_insert(day(recorded.fact.at));
        }
    }
    let mut days: Vec<Day> = first.into_values().collect();
    days.sort_unstable();
    days.into_iter().zip(1..).collect()
}

fn worked(cited: &[&Recorded]) -> Vec<Day> {
    let strokes = cited.iter().filter(|recorded| {
        let event = &recorded.fact.event;
        matches!(event, Event::StrokesBooked { .. } | Event::StrokesUnattributed { .. })
    });
    strokes.map(|recorded| day(recorded.fact.at)).collect()
}

fn dates(outlook: Outlook) -> [Value; 3] {
    match outlook {
        Outlook::Expected(dates) => [dates.date, dates.earliest, dates.latest].map(Value::Day),
        _ => Default::default(),
    }
}

/// ST-1 hardly works: its production days are those of others.
#[test]
fn a_forecast_is_that_of_its_events() {
    let floor = story::told();
    let review = review(&floor.ledger, Period::default(), true);
    let table = review.table(TableName::Forecast, &floor.asked());
    for (name, dated) in [("ST-1", false), ("ST-2", true)] {
        let row = table.rows.iter().find(|row| row[0].value == Value::Text(name.to_owned()));
        let figure = |column: &str| cell(&table, row.unwrap(), column);
        let cited = figure("days-used").events.iter();
        let cited: Vec<&Recorded> = cited.filter_map(|p| event(&floor.ledger, p.0)).collect();
        let mut usage = usage(&cited, &floor.ledger, &code(name));
        usage.sharing = sharing(&cited);
        let again = forecast(&usage, &Calendar::new(day(floor.now), &worked(&cited), &[]));
        let columns = |limit: &str| {
            ["", "-earliest", "-latest"].map(|end| figure(&format!("{limit}{end}")).value.clone())
        };
        assert_eq!(columns("reorder"), dates(again.reorder));
        assert_eq!(columns("stop"), dates(again.stopped));
        assert_eq!(matches!(again.stopped, Outlook::Expected(_)), dated);
        assert_eq!(figure("order-by").value, again.order_by.map_or(Value::Nothing, Value::Day));
        let basis = again.strokes.unwrap();
        assert_eq!(figure("days-used").value, Value::Count(basis.production_days as i128));
        let per_day = (basis.per_day * 100.0).round() as i128;
        assert_eq!(figure("strokes-per-day").value, Value::Centi(per_day));
    }
}

/// A stencil that is due, stopped or hardly used says so instead of a date.
#[test]
fn what_has_no_date_says_why() {
    let floor = story::told();
    let review = review(&floor.ledger, Period::default(), false);
    let table = review.table(TableName::Forecast, &floor.asked());
    let remark = |name: &str| {
        let row = table.rows.iter().find(|row| row[0].value == Value::Text(name.to_owned()));
        cell(&table, row.unwrap(), "remark").value.clone()
    };
    assert_eq!(remark("ST-2"), Value::Nothing);
    assert_eq!(remark("ST-3"), Value::Text("used under a concession".to_owned()));
    let Value::Text(why) = remark("ST-1") else { panic!("no remark") };
    assert!(why.starts_with("no date: its use"), "{why}");
}
