//! Cleanliness: every value and everything that can happen to it.

mod common;

use Cleanliness::{Clean, Printed, Unknown, Washing};
use WashOutcome::{Aborted, Failed, Passed};
use common::floor::{Floor, names};
use common::one::{One, stroke, strokes, unattributed, wash_began, wash_ended};
use common::plant::{NAMER, WASHER, plant_with};
use common::samples::samples;
use common::words::{self, hand_wash, reads, seated, washed};
use stencilward_domain::event::Event;
use stencilward_domain::signal::WashOutcome;
use stencilward_domain::site::Reply;
use stencilward_domain::stencil::Cleanliness;

/// A stencil of this cleanliness, printed with since its last wash or not.
fn with(value: Cleanliness, printed: bool) -> One {
    let mut one = One::registered(value == Clean);
    if printed {
        one.then(strokes(5));
    }
    match value {
        Washing => one.then(wash_began()),
        Unknown if printed => unreachable!("a printed stencil is known to be printed"),
        _ => &mut one,
    };
    assert_eq!(one.stencil().cleanliness.value, value);
    one
}

#[test]
fn the_full_table() {
    // Before, printed since the last wash, then: after a stroke, a wash that began, passed,
    // failed, was aborted, strokes that nobody can attribute.
    let table = [
        (Clean, false, [Printed, Washing, Clean, Unknown, Unknown, Printed]),
        (Printed, true, [Printed, Washing, Clean, Printed, Printed, Printed]),
        (Washing, true, [Printed, Washing, Clean, Printed, Printed, Washing]),
        (Washing, false, [Printed, Washing, Clean, Unknown, Unknown, Washing]),
        (Unknown, false, [Printed, Washing, Clean, Unknown, Unknown, Unknown]),
    ];
    for (before, printed, expected) in table {
        let inputs = [
            stroke(),
            wash_began(),
            wash_ended(Passed),
            wash_ended(Failed),
            wash_ended(Aborted),
            unattributed(),
        ];
        for (input, expected) in inputs.into_iter().zip(expected) {
            let mut one = with(before, printed);
            one.then(input.clone());
            let after = one.stencil().cleanliness.value;
            assert_eq!(after, expected, "{before:?}, printed: {printed}, then {input:?}");
        }
    }
}

#[test]
fn nothing_else_changes_it() {
    let acts = |event: &Event| {
        matches!(
            event,
            Event::StencilRegistered { .. }
                | Event::StrokesBooked { .. }
                | Event::StrokesUnattributed { .. }
                | Event::WashBegan { .. }
                | Event::WashEnded { .. }
                | Event::StrokesAssigned { .. }
                | Event::WashAnnulled { .. }
        )
    };
    for before in [Clean, Printed, Washing, Unknown] {
        for event in samples().into_iter().filter(|event| !acts(event)) {
            let mut one = with(before, before == Printed);
            let cleanliness = one.stencil().cleanliness.clone();
            one.then(event.clone());
            assert_eq!(one.stencil().cleanliness, cleanliness, "{event:?}");
        }
    }
}

#[test]
fn it_cites_the_event_that_made_it_so() {
    let mut one = One::registered(true);
    let first = one.then(stroke()).state.head;
    one.then(stroke());
    assert_eq!(one.stencil().cleanliness.because, first);
    assert_eq!(one.stencil().last_stroke.as_ref().map(|s| s.because), Some(one.state.head));
    let passed = one.then(wash_began()).then(wash_ended(Passed)).state.head;
    assert_eq!(one.stencil().cleanliness.because, passed);
    assert_eq!(one.stencil().last_wash.as_ref().map(|w| w.because), Some(passed));
}

#[test]
fn only_a_wash_that_passed_counts() {
    let mut one = One::registered(true);
    one.then(strokes(5)).then(wash_began()).then(wash_ended(Failed));
    assert_eq!((one.stencil().washes, one.stencil().strokes_since_wash), (0, 5));
    one.then(wash_began()).then(wash_ended(Passed));
    assert_eq!((one.stencil().washes, one.stencil().strokes_since_wash), (1, 0));
    assert_eq!(one.stencil().strokes, 5);
}

#[test]
fn a_wash_whose_beginning_nobody_heard_is_noted_whole() {
    let mut floor = Floor::new();
    assert_eq!(names(&floor.says(WASHER, washed("U"))), ["wash-began", "wash-ended"]);
    assert_eq!(floor.cleanliness("U"), Clean);
}

#[test]
fn a_second_beginning_of_the_same_wash_is_no_news() {
    let mut floor = Floor::new();
    floor.says(WASHER, words::wash_began(Some("U")));
    assert_eq!(floor.says(WASHER, words::wash_began(Some("U"))), []);
    assert_eq!(names(&floor.says(WASHER, washed("U"))), ["wash-ended"]);
}

#[test]
fn a_wash_without_a_code_is_that_of_the_only_stencil_in_the_washer() {
    let mut floor = Floor::new();
    floor.says(WASHER, seated("U"));
    floor.says(WASHER, words::wash_began(None));
    assert_eq!(floor.cleanliness("U"), Washing);
    floor.says(WASHER, words::wash_ended(None, Passed));
    assert_eq!(floor.cleanliness("U"), Clean);
}

#[test]
fn a_wash_that_fits_no_stencil_cleans_none() {
    let mut floor = Floor::new();
    let nobody = floor.says(WASHER, words::wash_ended(None, Passed));
    assert_eq!(names(&nobody), ["wash-unmatched"]);
    let unlisted = floor.says(WASHER, washed("X"));
    assert_eq!(names(&unlisted), ["wash-unmatched"]);
    floor.says(WASHER, words::wash_began(Some("A")));
    floor.says(WASHER, words::wash_began(Some("U")));
    let two = floor.says(WASHER, words::wash_ended(None, Passed));
    assert_eq!(names(&two), ["wash-unmatched"]);
    assert_eq!(floor.cleanliness("U"), Washing);
}

#[test]
fn a_washer_does_not_wash_what_a_printer_says_is_seated_in_it() {
    let mut floor = Floor::new();
    floor.says(NAMER, words::link_up());
    floor.bring("A", NAMER);
    floor.says(NAMER, reads(100));
    floor.after(10).says(NAMER, reads(101));
    let redelivered = floor.says(WASHER, washed("A"));
    assert_eq!(names(&redelivered), ["wash-unmatched"]);
    assert_eq!(floor.cleanliness("A"), Printed);
}

#[test]
fn a_person_washes_only_where_policy_allows_it() {
    let mut floor = Floor::new();
    assert!(
        matches!(floor.ask(&hand_wash("U", Passed)), Reply::Refused(why) if why.contains("policy"))
    );
    let mut floor = Floor::of(plant_with(|plant| plant.policy.hand_reported_wash = true));
    floor.does(&hand_wash("U", Passed));
    assert_eq!(floor.cleanliness("U"), Clean);
    floor.does(&hand_wash("U", Failed));
    assert_eq!(floor.cleanliness("U"), Unknown);
    assert!(matches!(floor.ask(&hand_wash("X", Passed)), Reply::Refused(_)));
}

#[test]
fn a_person_does_not_wash_what_a_printer_says_is_seated_in_it() {
    let mut floor = Floor::of(plant_with(|plant| plant.policy.hand_reported_wash = true));
    floor.says(NAMER, words::link_up());
    floor.bring("A", NAMER);
    floor.says(NAMER, words::strokes(1));
    let reply = floor.ask(&hand_wash("A", Passed));
    assert!(matches!(reply, Reply::Refused(why) if why.contains(NAMER)));
    assert_eq!(floor.cleanliness("A"), Printed);
}

#[test]
fn a_printed_stencil_that_waits_dries_out_once_per_wait() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.at(10).says(NAMER, words::strokes(1));
    floor.at(20).says(NAMER, stencilward_domain::signal::Said::Removed);
    assert_eq!(floor.at(3_610).tick(), []);
    assert_eq!(names(&floor.at(3_611).tick()), ["dried-out", "alarm"]);
    assert_eq!(floor.at(9_000).tick(), []);
    floor.says(WASHER, words::wash_began(Some("A")));
    assert_eq!(floor.tick(), []);
    floor.says(WASHER, words::wash_ended(Some("A"), Failed));
    assert_eq!(names(&floor.tick()), ["dried-out", "alarm"], "the alarm is of the failed wash");
    floor.says(WASHER, washed("A"));
    assert!(!names(&floor.at(90_000).tick()).contains(&"dried-out".to_owned()));
}
