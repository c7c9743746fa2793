//! The standards' measures against two hours worked out by hand, and their edges.
//!
//! What is measured: ANSI/ISA-18.2-2016 clause 16 and IEC 62682 (average and peak rates, floods
//! from more than ten to fewer than five in ten minutes, chattering, fleeting, stale, the ten told
//! most, priorities; from memory), EEMUA 191 (the grid of rates and priorities; second hand).

// Helpers of tests may fail as tests do.
#![allow(clippy::unwrap_used, clippy::panic)]

use stencilward_domain::alarm::{AlarmId, Priority};
use stencilward_domain::event::Position;
use stencilward_domain::time::Timestamp;
use stencilward_reports::alarms::{Measures, Spell, measures};

const MINUTE: i64 = 60_000;
const HOUR: i64 = 60 * MINUTE;

/// An alarm of this name, told at this minute, gone so many minutes later.
fn spell(name: &str, minute: f64, stood: Option<f64>, priority: Priority) -> Spell {
    let millis = |minutes: f64| Timestamp((minutes * MINUTE as f64) as i64);
    let at = millis(minute);
    Spell {
        id: format!("machine-fault:machine:{name}").parse::<AlarmId>().unwrap(),
        told: Position((minute * 1_000.0) as u64),
        at,
        since: at,
        priority,
        gone: stood.map(|stood| millis(minute + stood)),
        again: false,
        acted: false,
    }
}

/// Two hours of one operator: 12 alarms in the first ten minutes, 6 in the second, 4 in the third,
/// 2 in the second hour.
fn by_hand() -> Vec<Spell> {
    use Priority::{High, Low, Medium};
    let mut spells = Vec::new();
    // Twelve of one machine, one a minute but the last two at once: 0 to 9, 9.3, 9.6.
    for minute in [0.0, 1.0, 2.0, 3.0, 4.0, 5.0, 6.0, 7.0, 8.0, 9.0, 9.3, 9.6] {
        spells.push(spell("printer-1", minute, Some(0.2), Low));
    }
    // Six of six machines.
    for (number, minute) in (1..).zip([10.0, 11.0, 12.0, 13.0, 14.0, 15.0]) {
        spells.push(spell(&format!("rack-{number}"), minute, Some(5.0), Low));
    }
    // Four medium ones, of which one was fleeting.
    for (name, minute, stood) in [
        ("washer-1", 20.0, 9.0),
        ("washer-2", 21.0, 0.5),
        ("washer-3", 22.0, 9.0),
        ("washer-4", 23.0, 9.0),
    ] {
        spells.push(spell(name, minute, Some(stood), Medium));
    }
    // Two high ones, which stand.
    for (name, minute) in [("printer-2", 65.0), ("printer-3", 70.0)] {
        spells.push(spell(name, minute, None, High));
    }
    spells
}

fn measured(spells: &[Spell], hours: i64, operators: u32) -> Measures {
    measures(spells, (Timestamp(0), Timestamp(hours * HOUR)), operators)
}

fn close(is: f64, expected: f64) {
    assert!((is - expected).abs() < 1e-9, "{is}, expected {expected}");
}

#[test]
fn two_hours_worked_out_by_hand() {
    let is = measured(&by_hand(), 2, 1);
    assert_eq!(is.told.count, 24);
    close(is.per_ten_minutes, 2.0); // 24 in 12 periods
    close(is.per_hour, 12.0);
    close(is.per_day, 24.0); // no day has passed: what was told
    close(is.peak, 12.0);
    close(is.full_periods, 1.0 / 12.0); // only the first
    close(is.full_hours, 0.0); // 22 and 2
    assert_eq!(is.floods, 1); // 12 > 10 begins it, 6 goes on, 4 < 5 ends it
    close(is.in_flood, 2.0 / 12.0);
    let count = |priority| is.mix.iter().find(|(of, _)| *of == priority).unwrap().1.count;
    assert_eq!(Priority::ALL.map(count), [18, 4, 2, 0]);
    assert_eq!(is.top.len(), 10);
    assert_eq!(is.top[0].0.to_string(), "machine-fault:machine:printer-1");
    assert_eq!((is.top[0].1.count, is.top[1].1.count), (12, 1));
    close(is.top_share, 21.0 / 24.0); // 12 and nine others
    // printer-1 was told three times within a minute: at 9.0, 9.3 and 9.6.
    assert_eq!((is.chattering.count, is.chattering.events.len()), (1, 12));
    // washer-2, and those of printer-1 that were not told again within a minute: gone at 0.2, told
    // at 1.0 is within one, so only the last, and that followed within a minute.
    assert_eq!(is.fleeting.events, [Position(21_000)]);
    assert_eq!(is.stale.count, 0);
    close(is.days, 2.0 / 24.0);
}

#[test]
fn two_operators_share_what_is_told() {
    let is = measured(&by_hand(), 2, 2);
    close(is.per_ten_minutes, 1.0);
    close(is.peak, 6.0);
    assert_eq!(is.floods, 0, "twelve are six for each");
    close(is.full_periods, 0.0);
}

#[test]
fn ten_are_no_flood_and_eleven_are() {
    let told = |count: usize| -> Vec<Spell> {
        (0..count).map(|n| spell(&format!("m{n}"), 0.1, Some(2.0), Priority::Low)).collect()
    };
    assert_eq!(measured(&told(10), 1, 1).floods, 0);
    assert_eq!(measured(&told(11), 1, 1).floods, 1);
}

#[test]
fn a_flood_goes_on_while_five_are_told() {
    let mut spells: Vec<Spell> =
        (0..11).map(|n| spell(&format!("a{n}"), 1.0, Some(2.0), Priority::Low)).collect();
    spells.extend((0..5).map(|n| spell(&format!("b{n}"), 11.0, Some(2.0), Priority::Low)));
    spells.extend((0..4).map(|n| spell(&format!("c{n}"), 21.0, Some(2.0), Priority::Low)));
    spells.extend((0..11).map(|n| spell(&format!("d{n}"), 31.0, Some(2.0), Priority::Low)));
    let is = measured(&spells, 1, 1);
    assert_eq!(is.floods, 2);
    close(is.in_flood, 3.0 / 6.0);
}

#[test]
fn what_stands_for_more_than_a_day_is_stale() {
    let exactly = spell("a", 0.0, Some(24.0 * 60.0), Priority::Low);
    let longer = spell("b", 0.0, Some(24.0 * 60.0 + 0.1), Priority::Low);
    let stands = spell("c", 0.0, None, Priority::Low);
    let mut again = spell("d", 0.0, Some(600.0), Priority::Low);
    again.again = true;
    let mut last = spell("d", 600.0, None, Priority::Low);
    last.since = again.since;
    let young = spell("e", 30.0 * 60.0, None, Priority::Low);
    let is =
        measured(&[exactly, longer.clone(), stands.clone(), again, last.clone(), young], 48, 1);
    assert_eq!(is.stale.events, [longer.told, stands.told, last.told]);
}

#[test]
fn what_a_person_saw_to_was_not_fleeting() {
    let mut seen = spell("a", 0.0, Some(0.5), Priority::Low);
    assert_eq!(measured(std::slice::from_ref(&seen), 1, 1).fleeting.count, 1);
    seen.acted = true;
    assert_eq!(measured(&[seen], 1, 1).fleeting.count, 0);
}

#[test]
fn nothing_told_is_nothing_measured() {
    let is = measured(&[], 1, 0);
    assert_eq!((is.told.count, is.floods, is.top.len()), (0, 0, 0));
    for number in [is.per_ten_minutes, is.peak, is.full_periods, is.in_flood, is.top_share] {
        close(number, 0.0);
    }
    let point = measures(&by_hand(), (Timestamp(5), Timestamp(5)), 1);
    assert_eq!(point.told.count, 0);
}
