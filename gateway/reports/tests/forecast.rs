//! What a forecast says at the edges: little or odd history, limits reached, concessions, orders.

// The helpers fail the test that calls them.
#![allow(clippy::panic)]

use stencilward_domain::time::Timestamp;
use stencilward_reports::forecast::{
    Calendar, Concession, Dates, Day, Forecast, Life, NoDate, Outlook, Sets, Usage, forecast,
};

/// A Monday.
const TODAY: Day = Day(20_003);

/// A plant that worked on every day of the last year.
fn calendar() -> Calendar {
    let worked: Vec<Day> = (1..=364).map(|back| TODAY.plus(-back)).collect();
    Calendar::new(TODAY, &worked, &[])
}

/// So much on each of the last days, newest last.
fn each_day(amounts: &[i64]) -> Vec<(Day, i64)> {
    let back = |ahead: usize| -i32::try_from(ahead).expect("a short history");
    let newest_first = amounts.iter().rev().enumerate();
    newest_first.map(|(at, amount)| (TODAY.plus(back(at + 1)), *amount)).collect()
}

fn life(rated: u64, used: u64, daily: Vec<(Day, i64)>) -> Life {
    Life { rated, used, daily }
}

/// 100 days of 93, 100 or 107 strokes: half of 20,000 is used.
fn steady() -> Usage {
    let amounts: Vec<i64> = (0..100).map(|day| 93 + day % 3 * 7).collect();
    let used: i64 = amounts.iter().sum();
    let strokes = life(20_000, used.unsigned_abs(), each_day(&amounts));
    Usage { strokes, ..Usage::default() }
}

fn ask(usage: &Usage) -> Forecast {
    forecast(usage, &calendar())
}

#[track_caller]
fn dates(outlook: Outlook) -> Dates {
    match outlook {
        Outlook::Expected(dates) => dates,
        other => panic!("no date: {other:?}"),
    }
}

#[track_caller]
fn why(outlook: Outlook) -> NoDate {
    match outlook {
        Outlook::NoDate { why } => why,
        other => panic!("not without a date: {other:?}"),
    }
}

fn strokes_of(daily: Vec<(Day, i64)>) -> Usage {
    Usage { strokes: life(20_000, 100, daily), ..Usage::default() }
}

/// 6,000 strokes to 80 %, 9,800 to 99 %, at 100 a day.
#[test]
fn steady_use_reaches_both_limits_in_turn() {
    let said = ask(&steady());
    let (reorder, stopped) = (dates(said.reorder), dates(said.stopped));
    assert!((TODAY.plus(57)..=TODAY.plus(61)).contains(&reorder.date), "{reorder:?}");
    assert!((TODAY.plus(96)..=TODAY.plus(99)).contains(&stopped.date), "{stopped:?}");
    for dates in [reorder, stopped] {
        assert!(dates.earliest < dates.date && dates.date < dates.latest, "{dates:?}");
        assert_eq!(dates.sets, Sets::Strokes);
    }
    let basis = said.strokes.expect("a basis");
    assert_eq!((basis.production_days, basis.blocks), (100, 8));
    assert!((basis.per_day - 100.0).abs() < 2.0 && basis.per_day_sd > 0.0, "{basis:?}");
    assert_eq!(said.washes, None);
    assert_eq!(said.order_by, None);
}

#[test]
fn without_use_there_is_no_date() {
    for daily in [vec![], each_day(&[0; 50]), each_day(&[-5; 50])] {
        let said = ask(&strokes_of(daily));
        assert_eq!(why(said.reorder), NoDate::NotUsed);
        assert_eq!(why(said.stopped), NoDate::NotUsed);
        assert_eq!(said.strokes, None);
    }
}

#[test]
fn a_short_history_says_how_short() {
    let days = |days| ask(&strokes_of(each_day(&vec![100; days]))).stopped;
    assert_eq!(why(days(1)), NoDate::TooShort { days: 1, needed: 20 });
    assert_eq!(why(days(19)), NoDate::TooShort { days: 19, needed: 20 });
    assert!(dates(days(20)).date > TODAY);
    let said = why(days(1)).to_string();
    assert_eq!(said, "its use covers 1 of the 20 production days that a date needs");
}

#[test]
fn one_order_long_ago_is_no_rate() {
    let mut amounts = [0; 60];
    amounts[0] = 5_000;
    assert_eq!(why(ask(&strokes_of(each_day(&amounts))).stopped), NoDate::TooUneven);
}

#[test]
fn what_is_reached_says_since_when() {
    let mut usage = steady();
    usage.strokes.used = 16_000;
    usage.reorder_since = Some(Timestamp(1_000));
    let said = ask(&usage);
    assert_eq!(said.reorder, Outlook::Reached { since: Some(Timestamp(1_000)) });
    assert!(dates(said.stopped).date > TODAY);
    usage.strokes.used = 25_000;
    usage.lead_time_days = Some(30);
    let said = ask(&usage);
    assert_eq!(said.stopped, Outlook::Reached { since: None });
    assert_eq!(said.order_by, Some(TODAY.plus(-30)));
    usage.strokes.rated = 0;
    usage.strokes.used = 0;
    assert_eq!(ask(&usage).stopped, Outlook::Reached { since: None });
}

#[test]
fn huge_numbers_are_far_ahead_and_break_nothing() {
    let mut usage = steady();
    usage.strokes.rated = u64::MAX;
    assert_eq!(why(ask(&usage).stopped), NoDate::FarAhead);
    usage.strokes.daily.iter_mut().for_each(|(_, used)| *used = i64::MAX);
    assert!(dates(ask(&usage).reorder).date >= TODAY);
    usage.strokes.daily = vec![(Day(i32::MIN), i64::MAX), (Day(i32::MAX), i64::MIN)];
    usage.sharing = vec![(Day(i32::MIN), u32::MAX), (Day(i32::MAX), 0)];
    assert_eq!(why(ask(&usage).stopped), NoDate::TooUneven);
}

#[test]
fn what_lies_ahead_is_no_history() {
    let plain = ask(&steady());
    let mut usage = steady();
    usage.strokes.daily.extend([(TODAY, 9_000), (TODAY.plus(40), 9_000)]);
    assert_eq!(ask(&usage), plain);
    assert_eq!(why(ask(&strokes_of(vec![(TODAY, 100)])).stopped), NoDate::NotUsed);
}

#[test]
fn a_correction_takes_its_strokes_back() {
    let plain = ask(&steady());
    let mut usage = steady();
    let day = usage.strokes.daily[10].0;
    usage.strokes.daily.extend([(day, 5_000), (day, -5_000)]);
    assert_eq!(ask(&usage), plain);
    let corrected_to_nothing: Vec<i64> =
        (0..60).map(|day| if day < 30 { 10 } else { -10 }).collect();
    let said = ask(&strokes_of(each_day(&corrected_to_nothing)));
    assert_eq!(why(said.stopped), NoDate::TooUneven);
}

/// The stencil rests while the plant works: that counts. The plant rests: that does not.
#[test]
fn a_pause_of_the_stencil_slows_it_and_one_of_the_plant_does_not() {
    let plain = dates(ask(&steady()).stopped);
    let earlier = |usage: &Usage| {
        let mut rested = usage.clone();
        rested.strokes.daily.iter_mut().for_each(|(day, _)| *day = day.plus(-30));
        rested
    };
    let rested = earlier(&steady());
    assert!(dates(ask(&rested).stopped).date > plain.date.plus(15));
    let worked: Vec<Day> = (31..=364).map(|back| TODAY.plus(-back)).collect();
    let closed: Vec<Day> = (1..=30).map(|back| TODAY.plus(-back)).collect();
    let plant_rested = Calendar::new(TODAY, &worked, &closed);
    assert_eq!(dates(forecast(&rested, &plant_rested).stopped), plain);
    let idle = Calendar::new(TODAY.plus(400), &worked, &[]);
    assert_eq!(why(forecast(&rested, &idle).stopped), NoDate::PlantIdle);
}

#[test]
fn the_measure_that_ends_first_sets_the_date() {
    let mut usage = steady();
    let plain = dates(ask(&usage).stopped);
    let daily: Vec<i64> = (0..100).map(|day| 1 + day % 2).collect();
    usage.washes = Some(life(200, 150, each_day(&daily)));
    let said = ask(&usage);
    let stopped = dates(said.stopped);
    assert_eq!(stopped.sets, Sets::Washes);
    assert!(stopped.date < plain.date && stopped.latest <= plain.latest, "{stopped:?}");
    assert!(said.washes.is_some());
    usage.washes = Some(life(200, 0, vec![]));
    assert_eq!(dates(ask(&usage).stopped), plain);
    usage.washes = Some(life(200, 200, vec![]));
    assert_eq!(ask(&usage).stopped, Outlook::Reached { since: None });
}

#[test]
fn a_concession_ends_with_its_strokes_or_on_its_day() {
    let mut usage = steady();
    usage.strokes.used = 20_000;
    let mut until = |strokes_left, until| {
        usage.concession = Some(Concession { strokes_left, until });
        ask(&usage).stopped
    };
    let by_strokes = dates(until(1_000, None));
    assert!((TODAY.plus(8)..=TODAY.plus(11)).contains(&by_strokes.date), "{by_strokes:?}");
    let last_day = TODAY.plus(3);
    let by_day = dates(until(1_000, Some(last_day)));
    assert_eq!(
        (by_day.date, by_day.latest, by_day.sets),
        (last_day, last_day, Sets::ConcessionEnd)
    );
    assert_eq!(dates(until(1_000, Some(TODAY.plus(300)))), by_strokes);
    assert_eq!(until(0, None), Outlook::Reached { since: None });
    assert_eq!(until(1_000, Some(TODAY.plus(-1))), Outlook::Reached { since: None });
}

#[test]
fn a_concession_granted_early_counts_from_the_stop_limit() {
    let mut usage = steady();
    let plain = dates(ask(&usage).stopped);
    usage.concession = Some(Concession { strokes_left: 1_000, until: None });
    let longer = dates(ask(&usage).stopped);
    assert!((8..=12).contains(&(longer.date.0 - plain.date.0)), "{longer:?}");
    usage.concession = Some(Concession { strokes_left: 1_000, until: Some(TODAY.plus(5)) });
    assert_eq!(dates(ask(&usage).stopped), plain);
}

#[test]
fn a_concession_with_a_last_day_has_a_date_even_without_history() {
    let until = Some(TODAY.plus(30));
    let concession = Some(Concession { strokes_left: 1_000, until });
    let strokes = life(1_000, 1_000, vec![]);
    let said = ask(&Usage { strokes, concession, ..Usage::default() });
    let stopped = dates(said.stopped);
    assert_eq!((stopped.earliest, Some(stopped.date), Some(stopped.latest)), (TODAY, until, until));
}

#[test]
fn the_day_to_order_is_the_early_end_less_the_lead_time() {
    let mut usage = steady();
    usage.lead_time_days = Some(14);
    let said = ask(&usage);
    assert_eq!(said.order_by, Some(dates(said.stopped).earliest.plus(-14)));
    usage.lead_time_days = Some(400);
    assert!(ask(&usage).order_by.is_some_and(|day| day < TODAY));
    usage.strokes.daily.clear();
    assert_eq!(ask(&usage).order_by, None);
}

/// Two shared the work; since one has left, the other does all of it.
#[test]
fn the_others_take_the_share_of_one_that_left() {
    let mut usage = steady();
    let alone = dates(ask(&usage).stopped);
    usage.sharing = vec![(TODAY.plus(-500), 2), (TODAY, 1)];
    let both = dates(ask(&usage).stopped);
    let (alone, both) = (alone.date.0 - TODAY.0, both.date.0 - TODAY.0);
    assert!((alone - 2 * both).abs() <= 2, "{alone} {both}");
}
