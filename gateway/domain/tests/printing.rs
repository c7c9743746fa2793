//! Printing: the interlock of a printer follows what is seated in it, at each moment.

mod common;

use std::time::Duration;

use common::floor::{Floor, codes, names};
use common::plant::{MUTE, NAMER, RACK, WASHER, plant_with};
use common::words::{
    self, grant, hold, link_lost, link_up, machine, release, remove, retire, seat, seated, strokes,
    take_asked, wash_began, washed,
};
use stencilward_domain::decision::Rule;
use stencilward_domain::event::{Event, Position};
use stencilward_domain::signal::Said;

#[test]
fn each_reason_alone() {
    let mut floor = Floor::new();
    assert_eq!(floor.against_printing(NAMER), ["nothing-seated"]);
    floor.says(NAMER, seated("A"));
    assert_eq!(floor.against_printing(NAMER), ["not-taken"]);
    floor.says(NAMER, seated("X"));
    assert_eq!(floor.against_printing(NAMER), ["unknown-stencil"]);
    floor.bring("B", NAMER);
    assert_eq!(floor.against_printing(NAMER), [""; 0]);
    floor.does(&hold("B"));
    assert_eq!(floor.against_printing(NAMER), ["on-hold"]);
    floor.does(&release("B"));
    floor.says(NAMER, strokes(990));
    assert_eq!(floor.against_printing(NAMER), ["worn-out"]);
    floor.does(&grant("B", 1, None));
    floor.says(NAMER, strokes(1));
    assert_eq!(floor.against_printing(NAMER), ["concession-used-up"]);
    floor.does(&grant("B", 1, None));
    floor.does(&retire("B"));
    assert_eq!(floor.against_printing(NAMER), ["retired"]);
}

#[test]
fn a_stencil_of_unknown_cleanliness_or_still_washing_is_refused() {
    let needs_no_take = plant_with(|plant| plant.policy.print_needs_take = false);
    let mut floor = Floor::of(needs_no_take);
    floor.says(NAMER, seated("U"));
    assert_eq!(floor.against_printing(NAMER), ["cleanliness-unknown"]);
    floor.says(WASHER, wash_began(Some("A")));
    floor.says(NAMER, seated("A"));
    assert_eq!(floor.against_printing(NAMER), ["washing"]);
}

#[test]
fn a_stencil_that_is_being_printed_with_may_be_printed_with() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says(NAMER, strokes(100));
    assert_eq!(floor.against_printing(NAMER), [""; 0]);
}

#[test]
fn reasons_cite_the_events_that_made_them_so() {
    let mut floor = Floor::new();
    floor.says(NAMER, seated("A"));
    let seat = floor.last(|e| matches!(e, Event::Seated { .. }));
    floor.says(NAMER, strokes(990));
    let worn = floor.last(|e| matches!(e, Event::WearBandEntered { .. }));
    floor.does(&hold("A"));
    let held = floor.last(|e| matches!(e, Event::HoldPlaced { .. }));
    floor.does(&retire("A"));
    let retired = floor.last(|e| matches!(e, Event::Retired { .. }));
    let decision = floor.site.print_decision(&machine(NAMER), floor.now);
    assert_eq!(codes(&decision), ["on-hold", "retired", "worn-out", "not-taken"]);
    let because: Vec<Option<Position>> = decision.reasons.iter().map(|c| c.because).collect();
    assert_eq!(because, [held, retired, worn, seat]);
}

#[test]
fn strokes_between_washes_are_limited() {
    let mut floor = Floor::of(plant_with(|p| p.policy.strokes_between_washes = Some(50)));
    floor.bring("A", NAMER);
    floor.says(NAMER, strokes(49));
    assert_eq!(floor.against_printing(NAMER), [""; 0]);
    floor.says(NAMER, strokes(1));
    let last = floor.last(|e| matches!(e, Event::StrokesBooked { .. }));
    let decision = floor.site.print_decision(&machine(NAMER), floor.now);
    assert_eq!(codes(&decision), ["too-many-strokes-since-wash"]);
    assert_eq!(decision.reasons[0].because, last);
    floor.says(NAMER, Said::Removed);
    floor.says(WASHER, washed("A"));
    floor.says(WASHER, Said::Removed);
    floor.bring("A", NAMER);
    assert_eq!(floor.against_printing(NAMER), [""; 0]);
}

#[test]
fn time_between_washes_is_limited_and_passes_by_itself() {
    let hour = Some(Duration::from_secs(3_600));
    let mut floor = Floor::of(plant_with(|plant| plant.policy.time_between_washes = hour));
    floor.says(WASHER, washed("A"));
    floor.does(&remove(WASHER));
    floor.bring("A", NAMER);
    let wash = floor.last(|e| matches!(e, Event::WashEnded { .. }));
    assert_eq!(floor.at(3_600).tick(), []);
    assert!(floor.may_print(NAMER));
    assert_eq!(names(&floor.at(3_601).tick()), ["decided"]);
    let decision = floor.site.print_decision(&machine(NAMER), floor.now);
    assert_eq!(codes(&decision), ["too-long-since-wash"]);
    assert_eq!(decision.reasons[0].because, wash);
    assert!(!floor.may_print(NAMER));
}

#[test]
fn a_broken_link_is_trusted_for_a_while() {
    let mut floor = Floor::new();
    floor.says(NAMER, link_up());
    floor.bring("A", NAMER);
    floor.at(10).says(NAMER, link_lost());
    assert_eq!(floor.at(130).against_printing(NAMER), [""; 0]);
    floor.at(131).tick();
    assert_eq!(floor.against_printing(NAMER), ["seat-unconfirmed"]);
    assert!(!floor.may_print(NAMER));
    floor.at(200).says(NAMER, link_up());
    assert_eq!(floor.against_printing(NAMER), ["seat-unconfirmed"]);
    let seat = floor.last(|e| matches!(e, Event::Seated { .. }));
    let decision = floor.site.print_decision(&machine(NAMER), floor.now);
    assert_eq!(decision.reasons[0].because, seat);
    floor.says(NAMER, seated("A"));
    assert_eq!(floor.against_printing(NAMER), [""; 0]);
    assert!(floor.may_print(NAMER));
}

#[test]
fn no_take_is_needed_where_policy_says_so() {
    let mut floor = Floor::of(plant_with(|plant| plant.policy.print_needs_take = false));
    floor.says(NAMER, seated("A"));
    assert!(floor.may_print(NAMER));
}

#[test]
fn a_decision_is_told_when_it_changes_and_not_again() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    assert_eq!(names(&floor.says(NAMER, strokes(1))), ["strokes-booked"]);
    assert_eq!(floor.tick(), []);
    floor.does(&hold("A"));
    let told = floor.ledger.last().map(|r| r.fact.event.clone());
    assert!(matches!(told, Some(Event::Decided { decision, valid_until: None })
        if decision.rule == Rule::Print && codes(&decision) == ["on-hold"]));
    assert_eq!(floor.tick(), []);
    assert_eq!(floor.says(NAMER, seated("A")), []);
}

#[test]
fn what_happens_elsewhere_reaches_the_printer_at_once() {
    let mut floor = Floor::new();
    floor.decides(RACK, take_asked("A", None));
    floor.does(&seat("A", MUTE));
    assert!(floor.may_print(MUTE));
    floor.says(WASHER, wash_began(Some("A")));
    assert!(!floor.may_print(MUTE), "a washer has it");
    floor.says(WASHER, washed("A"));
    floor.decides_for(&words::store("A", None, None));
    floor.decides(RACK, take_asked("A", None));
    floor.does(&seat("A", MUTE));
    assert!(floor.may_print(MUTE));
    floor.does(&retire("A"));
    assert!(!floor.may_print(MUTE), "it was retired");
}

#[test]
fn only_printers_and_washers_take_a_stencil_by_scan() {
    let mut floor = Floor::new();
    for place in [RACK, common::plant::SCANNER, "nowhere"] {
        let reply = floor.ask(&seat("A", place));
        let refused = stencilward_domain::site::Reply::Refused(format!(
            "{place} is neither a printer nor a washer of the configuration"
        ));
        assert_eq!(reply, refused);
        assert_eq!(floor.ask(&remove(place)), refused);
    }
}

/// Two printers claim one stencil; what one of them reports of it reaches the other.
#[test]
fn strokes_that_it_made_elsewhere_reach_its_printer_at_once() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.does(&seat("A", MUTE));
    assert!(floor.may_print(MUTE));
    floor.says(NAMER, strokes(990));
    assert_eq!(floor.against_printing(MUTE), ["worn-out"]);
    assert!(!floor.may_print(MUTE));
}
