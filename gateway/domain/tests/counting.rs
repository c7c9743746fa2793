//! Counting: what the reads of a total book, and what they do not.

mod common;

use common::floor::{Floor, names};
use common::plant::{MUTE, NAMER, RATED};
use common::words::{at, counter, reads, reads_at, reports, strokes};
use stencilward_domain::event::{Advance, Basis, Event, Noted, WhyUnattributed};
use stencilward_domain::signal::{Reading, Said, Width};

/// A stencil in a printer whose total reads `raw`, all at the start.
fn counting_from(raw: u64, width: Width) -> Floor {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    let first = floor.says(NAMER, reads_at(raw, width));
    assert!(matches!(first[..], [Event::CounterNoted { why: Noted::First, .. }]));
    floor
}

/// How the strokes of the only booking among these events follow, and how many they are.
fn booked(events: &[Event]) -> Option<(u64, Advance)> {
    events.iter().find_map(|event| match event {
        Event::StrokesBooked { count, basis: Basis::Counter { advance, .. }, .. } => {
            Some((*count, *advance))
        }
        _ => None,
    })
}

fn unattributed(floor: &Floor) -> u64 {
    floor.machine(NAMER).unattributed
}

#[test]
fn the_first_read_books_nothing() {
    let mut floor = counting_from(5_000, Width::Bits16);
    assert_eq!(floor.strokes("A"), 0);
    let events = floor.at(5).says(NAMER, reads(5_001));
    assert_eq!(booked(&events), Some((1, Advance::Difference)));
}

#[test]
fn the_same_read_again_books_nothing_and_says_nothing() {
    let mut floor = counting_from(100, Width::Bits16);
    for seconds in 1..50 {
        assert_eq!(floor.at(seconds).says(NAMER, reads(100)), []);
    }
}

#[test]
fn a_total_wraps_at_its_width() {
    for width in [Width::Bits16, Width::Bits32, Width::Bits64] {
        let mut floor = counting_from(width.largest() - 1, width);
        let last = floor.at(5).says(NAMER, reads_at(width.largest(), width));
        assert_eq!(booked(&last), Some((1, Advance::Difference)), "{width:?}");
        let wrapped = floor.at(15).says(NAMER, reads_at(1, width));
        assert_eq!(booked(&wrapped), Some((2, Advance::Wrapped)), "{width:?}");
        assert_eq!(floor.strokes("A"), 3);
    }
}

#[test]
fn a_total_restarts_at_zero() {
    let mut floor = counting_from(5_000, Width::Bits16);
    let zero = floor.at(5).says(NAMER, reads(0));
    assert!(matches!(
        zero[..],
        [
            Event::RestartUnseen { last: 5_000, raw: 0, at_most: 3, .. },
            Event::CounterNoted { why: Noted::Restarted, .. },
        ]
    ));
    assert_eq!(booked(&floor.at(10).says(NAMER, reads(1))), Some((1, Advance::Difference)));
    let mut floor = counting_from(5_000, Width::Bits16);
    let restarted = floor.at(60).says(NAMER, reads(9));
    assert!(matches!(restarted[0], Event::RestartUnseen { at_most: 5, .. }), "14 were possible");
    assert_eq!(booked(&restarted[1..]), Some((9, Advance::Restarted)));
}

#[test]
fn a_misread_books_nothing_twice() {
    let mut floor = counting_from(5_000, Width::Bits16);
    floor.at(5).says(NAMER, reads(0));
    let events = floor.at(10).says(NAMER, reads(5_002));
    assert_eq!(booked(&events), Some((2, Advance::Recovered)));
    let mut floor = counting_from(5_000, Width::Bits16);
    floor.at(10).says(NAMER, reads(2));
    assert_eq!(floor.strokes("A"), 2, "for a restart, until it proves a misread");
    floor.at(20).says(NAMER, reads(5_004));
    assert_eq!(floor.strokes("A"), 4);
}

#[test]
fn a_jump_too_far_is_a_finding_and_books_nothing() {
    let mut floor = counting_from(100, Width::Bits16);
    let events = floor.at(10).says(NAMER, reads(105));
    assert!(matches!(events[..], [Event::CounterDoubted { last: 100, raw: 105, possible: 4, .. }]));
    assert_eq!(booked(&floor.at(15).says(NAMER, reads(103))), Some((3, Advance::Difference)));
    assert_eq!(floor.strokes("A"), 3);
}

#[test]
fn what_three_reads_in_a_row_show_is_believed_and_left_to_a_person() {
    let mut floor = counting_from(100, Width::Bits16);
    assert_eq!(names(&floor.at(5).says(NAMER, reads(9_000))), ["counter-doubted"]);
    assert_eq!(floor.at(10).says(NAMER, reads(9_001)), []);
    let third = floor.at(15).says(NAMER, reads(9_002));
    assert!(matches!(
        third[0],
        Event::StrokesUnattributed { count: 8_902, why: WhyUnattributed::Implausible, .. }
    ));
    assert_eq!(floor.cleanliness("A").as_str(), "printed", "perhaps");
    assert_eq!(booked(&floor.at(20).says(NAMER, reads(9_003))), Some((1, Advance::Difference)));
    assert_eq!((floor.strokes("A"), unattributed(&floor)), (1, 8_902));
}

#[test]
fn garbage_that_does_not_go_on_is_never_believed() {
    let mut floor = counting_from(100, Width::Bits16);
    for (seconds, raw) in (1..100).zip([40_000, 20_000, 31_000, 60_000].iter().cycle()) {
        let events = floor.at(seconds).says(NAMER, reads(*raw));
        assert_eq!(booked(&events), None);
        let doubts =
            floor.ledger.iter().filter(|r| matches!(r.fact.event, Event::CounterDoubted { .. }));
        assert!(doubts.count() <= 2, "one a minute, not one a read");
    }
    assert_eq!(booked(&floor.at(100).says(NAMER, reads(101))), Some((1, Advance::Difference)));
}

/// A register read as wider than it is: it shows what no such counter can.
#[test]
fn a_value_beyond_its_width_is_never_believed() {
    let mut floor = counting_from(100, Width::Bits16);
    for seconds in 1..600 {
        let events = floor.at(seconds).says(NAMER, reads(70_000));
        assert!(events.iter().all(|e| matches!(e, Event::CounterDoubted { .. })));
    }
    let mut new = Floor::new();
    new.says(NAMER, reads(70_000));
    assert!(new.machine(NAMER).counters.is_empty());
}

#[test]
fn a_width_that_was_corrected_does_not_make_strokes() {
    let mut floor = counting_from(100_000, Width::Bits32);
    assert_eq!(booked(&floor.at(5).says(NAMER, reads(34_465))), None);
    let mut floor = counting_from(65_535, Width::Bits16);
    let wider = floor.at(5).says(NAMER, reads_at(65_536, Width::Bits32));
    assert_eq!(booked(&wider), Some((1, Advance::Difference)));
    let mut floor = counting_from(100_000, Width::Bits32);
    let events = floor.at(30).says(NAMER, reads(5));
    assert_eq!(booked(&events), Some((5, Advance::Restarted)), "a restart, not a wrap");
}

#[test]
fn each_counter_of_a_machine_counts_for_itself() {
    let mut floor = counting_from(100, Width::Bits16);
    let other = |raw| Said::CounterRead {
        counter: counter("rear squeegee"),
        raw,
        width: Width::Bits32,
        reading: Reading::Polled,
    };
    floor.says(NAMER, other(7));
    floor.at(10).says(NAMER, reads(102));
    floor.at(10).says(NAMER, other(9));
    assert_eq!(floor.strokes("A"), 4);
}

#[test]
fn a_polled_total_had_the_time_since_the_last_read_only() {
    let mut floor = counting_from(100, Width::Bits16);
    floor.at(3_600).says(NAMER, reads(100));
    let events = floor.at(3_605).says(NAMER, reads(104));
    assert!(matches!(events[..], [Event::CounterDoubted { possible: 3, .. }]));
}

/// The broker kept the messages of an hour and delivers them all at once.
#[test]
fn a_reported_total_may_have_waited_at_the_broker() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says(NAMER, reports(100));
    floor.at(3_600);
    for raw in 101..=500 {
        assert_eq!(booked(&floor.says(NAMER, reports(raw))), Some((1, Advance::Difference)));
    }
    assert_eq!(floor.strokes("A"), 400);
}

#[test]
fn increments_are_booked_as_reported() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    assert_eq!(floor.says(NAMER, strokes(0)), []);
    let events = floor.says(NAMER, strokes(3));
    assert!(matches!(
        &events[..],
        [Event::StrokesBooked { count: 3, basis: Basis::Reported { by_machine: None }, .. }]
    ));
}

#[test]
fn more_than_a_days_work_in_one_message_is_not_believed() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    let day = 24 * 3_600 / 5 + 2;
    let events = floor.says(NAMER, strokes(day + 1));
    assert!(matches!(&events[0], Event::StrokesUnattributed { why, .. }
        if *why == WhyUnattributed::Implausible));
    assert_eq!(floor.strokes("A"), 0);
    assert_eq!(floor.cleanliness("A").as_str(), "printed", "perhaps");
    floor.says(NAMER, strokes(day));
    assert!(floor.strokes("A") > RATED);
}

/// Found as the clock was set back an hour: nothing may be lost and nothing doubted for an hour.
#[test]
fn a_clock_put_back_loses_no_strokes() {
    let mut floor = counting_from(100, Width::Bits16);
    let mut raw = 100;
    for minute in 1..10 {
        raw += 12;
        floor.at(3_600 + minute * 60).says(NAMER, reads(raw));
    }
    for minute in 0..10 {
        raw += 12;
        floor.at(minute * 60).says(NAMER, reads(raw));
    }
    assert_eq!(floor.strokes("A"), raw - 100);
    assert!(!floor.ledger.iter().any(|r| matches!(r.fact.event, Event::CounterDoubted { .. })));
}

#[test]
fn a_counter_is_known_from_the_ledger_alone() {
    let mut floor = counting_from(100, Width::Bits16);
    floor.at(10).says(NAMER, reads(102));
    floor.start_again();
    let known = floor.machine(NAMER).counters.get(&counter("total")).expect("a counter");
    assert_eq!((known.known.raw, known.at), (102, at(10)));
}

/// Found by a simulated year: the counter really restarted long after a misread as zero.
#[test]
fn a_misread_without_a_stroke_is_forgotten_once_the_value_is_back() {
    let mut floor = counting_from(28_272, Width::Bits16);
    floor.at(5).says(NAMER, reads(0));
    let back = floor.at(10).says(NAMER, reads(28_272));
    assert!(matches!(back[..], [Event::CounterNoted { why: Noted::Misread, .. }]));
    floor.at(1_000).says(NAMER, reads(28_394));
    let restarted = floor.at(3_000).says(NAMER, reads(209));
    assert_eq!(booked(&restarted[1..]), Some((209, Advance::Restarted)));
}

/// Found by a simulated year: a machine that tells each stroke and was heard all along did not
/// make a day's work untold.
#[test]
fn a_reported_total_that_goes_back_is_no_wrap_and_no_restart_of_long_ago() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says(NAMER, reports(50_000));
    floor.at(5).says(NAMER, reports(50_001));
    assert_eq!(booked(&floor.at(86_000).says(NAMER, reports(1))), Some((1, Advance::Restarted)));
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says(NAMER, reports(5_000));
    floor.at(5).says(NAMER, reports(5_001));
    let old = floor.at(86_000).says(NAMER, reports(5_000));
    assert!(matches!(old[..], [Event::CounterDoubted { .. }]));
    assert_eq!(booked(&floor.says(NAMER, reports(5_002))), Some((1, Advance::Difference)));
}

#[test]
fn a_total_reported_in_lots_wraps_within_one() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    for (minute, raw) in (0..).zip([65_300u64, 65_400, 65_500]) {
        floor.at(minute * 600).says(NAMER, reports(raw));
    }
    assert_eq!(booked(&floor.at(1_800).says(NAMER, reports(64))), Some((100, Advance::Wrapped)));
}

/// Found by a simulated year.
#[test]
fn a_stroke_that_a_machine_reports_after_its_stencil_left_is_nobodys() {
    for raw in [101, 155] {
        let mut floor = Floor::new();
        floor.bring("A", MUTE);
        floor.says(MUTE, reports(100));
        floor.at(5).does(&common::words::remove(MUTE));
        let events = floor.at(1_000).says(MUTE, reports(raw));
        assert!(matches!(&events[..], [Event::StrokesUnattributed { why, .. }]
            if *why == WhyUnattributed::NothingSeated));
    }
}
