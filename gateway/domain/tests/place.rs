//! Where a stencil is: every place and every event that moves.

mod common;

use common::floor::{Floor, names};
use common::one::{One, wash_began, wash_ended};
use common::plant::{MUTE, MUTE_2, NAMER, NAMER_2, RACK, RACK_2, WASHER, WASHER_2};
use common::samples::samples;
use common::words::{code, emptied, machine, occupied, remove, seat, seated, slot, washed};
use stencilward_domain::decision::{Cause, Decision, Rule};
use stencilward_domain::event::Event;
use stencilward_domain::machine::Slot;
use stencilward_domain::place::Place;
use stencilward_domain::reason::Reason;
use stencilward_domain::signal::{Said, WashOutcome};

fn in_slot(name: &str) -> Place {
    Place::Slot { rack: machine(RACK), slot: slot(name) }
}

fn in_printer(name: &str) -> Place {
    Place::Printer { machine: machine(name) }
}

fn in_washer(name: &str) -> Place {
    Place::Washer { machine: machine(name) }
}

fn seated_in(name: &str) -> Event {
    Event::Seated { stencil: code("A"), machine: machine(name), by: None, unseen: false }
}

fn loaded_into(name: &str) -> Event {
    Event::Loaded { stencil: code("A"), machine: machine(name), by: None }
}

fn removed_from(name: &str) -> Event {
    Event::Removed { stencil: code("A"), machine: machine(name), by: None, unseen: false }
}

fn stored(name: &str) -> Event {
    Event::Stored { stencil: code("A"), rack: machine(RACK), slot: slot(name) }
}

fn found() -> Event {
    let (rack, slot) = (machine(RACK), slot("2"));
    Event::SlotFound { stencil: Some(code("A")), rack, slot }
}

fn breached() -> Event {
    let (rack, slot) = (machine(RACK), slot("2"));
    Event::StorageBreached { stencil: Some(code("A")), rack, slot, reasons: Vec::new() }
}

fn taken(permitted: bool) -> Event {
    let (rack, slot) = (machine(RACK), slot("1"));
    Event::Taken { stencil: code("A"), rack, slot, permitted }
}

fn washed_by_hand() -> Event {
    Event::WashBegan { stencil: code("A"), machine: None, programme: None }
}

fn lost() -> Event {
    Event::LostSight { stencil: code("A"), why: "gone".to_owned() }
}

fn decided(rule: Rule, permitted: bool) -> Event {
    let against = Cause { reason: Reason::Retired, because: None };
    let decision = Decision {
        rule,
        stencil: Some(code("A")),
        machine: Some(machine(if rule == Rule::Print { NAMER } else { RACK })),
        slot: None,
        order: None,
        by: None,
        reasons: if permitted { Vec::new() } else { vec![against] },
    };
    Event::Decided { decision, valid_until: None }
}

/// A stencil at each kind of place.
fn everywhere() -> Vec<(Place, One)> {
    let place = |event: Option<Event>| {
        let mut one = One::registered(true);
        if let Some(event) = event {
            one.then(event);
        }
        (one.stencil().place.value.clone(), one)
    };
    let events =
        [Some(stored("1")), Some(seated_in(NAMER)), Some(loaded_into(WASHER)), None, Some(lost())];
    events.into_iter().map(place).collect()
}

#[test]
fn the_full_table() {
    let (slot_1, printer, washer) = (in_slot("1"), in_printer(NAMER), in_washer(WASHER));
    let (hand, unknown) = (Place::InHand, Place::Unknown);
    let all = |place: &Place| std::array::from_fn::<_, 5, _>(|_| place.clone());
    let before = [slot_1, printer, washer, hand.clone(), unknown.clone()];
    let with = |index: usize, place: &Place| {
        let mut after = before.clone();
        after[index] = place.clone();
        after
    };
    let unless_stored = [before[0].clone(), hand.clone(), hand.clone(), hand.clone(), hand.clone()];
    let from = |index: usize| {
        let mut after = with(index, &hand);
        after[4] = hand.clone();
        after
    };
    let table = [
        (seated_in(NAMER_2), all(&in_printer(NAMER_2))),
        (loaded_into(WASHER_2), all(&in_washer(WASHER_2))),
        (wash_began(), all(&in_washer(WASHER))),
        (washed_by_hand(), before.clone()),
        (wash_ended(WashOutcome::Passed), before.clone()),
        (removed_from(NAMER), from(1)),
        (removed_from(WASHER), from(2)),
        (removed_from(NAMER_2), with(4, &hand)),
        (lost(), all(&unknown)),
        (stored("2"), all(&in_slot("2"))),
        (found(), all(&in_slot("2"))),
        (breached(), all(&in_slot("2"))),
        (taken(true), all(&hand)),
        (taken(false), all(&hand)),
        (decided(Rule::Store, true), unless_stored.clone()),
        (decided(Rule::Take, true), unless_stored),
        (decided(Rule::Print, true), before.clone()),
        (decided(Rule::Store, false), before.clone()),
        (decided(Rule::Take, false), before.clone()),
    ];
    for (event, expected) in table {
        for ((before, mut one), expected) in everywhere().into_iter().zip(expected) {
            one.then(event.clone());
            assert_eq!(one.stencil().place.value, expected, "{before}, then {event:?}");
        }
    }
}

#[test]
fn no_other_event_moves_it() {
    for event in samples() {
        let moves = matches!(
            event,
            Event::StencilRegistered { .. }
                | Event::Seated { .. }
                | Event::Loaded { .. }
                | Event::Removed { .. }
                | Event::LostSight { .. }
                | Event::WashBegan { .. }
                | Event::Stored { .. }
                | Event::StorageBreached { .. }
                | Event::Taken { .. }
        );
        for (before, mut one) in everywhere().into_iter().filter(|_| !moves) {
            one.then(event.clone());
            assert_eq!(one.stencil().place.value, before, "{event:?}");
        }
    }
}

#[test]
fn a_stencil_that_turns_up_elsewhere_has_left_its_slot() {
    for event in [seated_in(NAMER), loaded_into(WASHER), wash_began(), stored("2")] {
        let mut one = One::registered(true);
        one.then(stored("1")).then(event.clone());
        let slots = &one.state.machines.get(&machine(RACK)).expect("a rack").slots;
        assert_eq!(slots.get(&slot("1")), Some(&Slot::Empty), "{event:?}");
    }
}

#[test]
fn a_new_stencil_in_a_printer_pushes_out_the_one_before() {
    let mut floor = Floor::new();
    floor.says(NAMER, seated("A"));
    let events = floor.says(NAMER, seated("B"));
    assert_eq!(names(&events), ["removed", "seated", "decided"]);
    assert_eq!((floor.place("A"), floor.place("B")), (Place::InHand, in_printer(NAMER)));
}

#[test]
fn the_same_stencil_again_is_no_news() {
    let mut floor = Floor::new();
    floor.says(NAMER, seated("A"));
    assert_eq!(floor.says(NAMER, seated("A")), []);
    floor.says(NAMER, Said::Removed);
    assert_eq!(floor.says(NAMER, Said::Removed), []);
}

#[test]
fn a_stencil_seen_in_another_machine_has_left_a_printer_that_cannot_say_so() {
    let mut floor = Floor::new();
    floor.does(&seat("A", MUTE));
    floor.does(&seat("A", MUTE_2));
    assert_eq!(floor.machine(MUTE).seat, None);
    floor.says(WASHER, washed("A"));
    assert_eq!(floor.machine(MUTE_2).seat, None);
    assert_eq!(floor.place("A"), in_washer(WASHER));
}

#[test]
fn a_stencil_found_in_a_slot_without_permission_has_left_its_printer() {
    let mut floor = Floor::new();
    floor.says(RACK, emptied("1"));
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, common::words::strokes(3));
    let events = floor.says(RACK, occupied("1", Some("A")));
    assert_eq!(names(&events), ["removed", "storage-breached", "decided"]);
    assert_eq!(floor.machine(MUTE).seat, None);
    floor.says(MUTE, common::words::strokes(4));
    assert_eq!(floor.strokes("A"), 3);
}

/// The link of the first printer was slow: its word comes after that of the second.
#[test]
fn a_late_word_from_the_place_before_does_not_move_it() {
    let mut floor = Floor::new();
    floor.says(NAMER, seated("A"));
    floor.says(NAMER_2, seated("A"));
    floor.says(NAMER, Said::Removed);
    assert_eq!(floor.place("A"), in_printer(NAMER_2));
    assert!(!floor.against_printing(NAMER_2).contains(&"elsewhere"));
    floor.says(NAMER, seated("A"));
    floor.says(RACK, emptied("1"));
    floor.says(RACK, occupied("1", Some("A")));
    floor.says(NAMER, seated("B"));
    assert_eq!(floor.place("A"), in_slot("1"));
}

#[test]
fn two_printers_that_claim_one_code_do_not_both_print() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    assert!(floor.may_print(NAMER));
    floor.says(NAMER_2, seated("A"));
    assert_eq!(floor.against_printing(NAMER), ["elsewhere"]);
    assert_eq!(floor.against_printing(NAMER_2), [""; 0]);
    for _ in 0..3 {
        assert_eq!(floor.says(NAMER, seated("A")), [], "they do not fight over it");
        assert_eq!(floor.says(NAMER_2, seated("A")), []);
    }
}

/// Somebody scanned the wrong printer, and put it right.
#[test]
fn a_wrong_scan_is_healed_by_the_machine_or_by_another_scan() {
    for heal_by_scan in [true, false] {
        let mut floor = Floor::new();
        floor.bring("A", NAMER);
        floor.does(&seat("A", MUTE));
        floor.does(&remove(MUTE));
        assert_eq!(floor.place("A"), Place::InHand);
        assert!(!floor.may_print(NAMER));
        if heal_by_scan {
            floor.does(&seat("A", NAMER));
        } else {
            floor.says(NAMER, seated("A"));
        }
        assert_eq!(floor.place("A"), in_printer(NAMER));
        assert!(floor.may_print(NAMER));
    }
}

/// A washer that reads codes needs no scan into it; the way out is a scan, or its own word.
#[test]
fn a_washed_stencil_is_scanned_out_of_the_washer() {
    for by_scan in [true, false] {
        let mut floor = Floor::new();
        floor.says(WASHER, washed("A"));
        let take = floor.decides(RACK, common::words::take_asked("A", None));
        assert!(take.to_string().contains("scan it out of there"));
        if by_scan {
            floor.does(&remove(WASHER));
        } else {
            floor.says(WASHER, Said::Removed);
        }
        assert_eq!(floor.place("A"), Place::InHand);
        assert!(floor.decides(RACK, common::words::take_asked("A", None)).permitted());
    }
}

#[test]
fn a_rack_may_report_its_slots_in_any_order() {
    // A was in 1, B in 2; while nobody listened, A went to 2 and B to 3.
    let words = [emptied("1"), occupied("2", Some("A")), occupied("3", Some("B"))];
    for order in [[0, 1, 2], [0, 2, 1], [1, 0, 2], [1, 2, 0], [2, 0, 1], [2, 1, 0]] {
        let mut floor = Floor::new();
        floor.stock("A", "1");
        floor.stock("B", "2");
        for index in order {
            floor.says(RACK, words[index].clone());
        }
        let places = (floor.place("A"), floor.place("B"));
        assert_eq!(places, (in_slot("2"), in_slot("3")), "{order:?}");
        let slots = &floor.machine(RACK).slots;
        let held = |name: &str| slots.get(&slot(name)).cloned();
        assert_eq!(held("1"), Some(Slot::Empty), "{order:?}");
        assert_eq!(held("2"), Some(Slot::Holds(code("A"))), "{order:?}");
        assert_eq!(held("3"), Some(Slot::Holds(code("B"))), "{order:?}");
    }
}

#[test]
fn two_stencils_may_have_changed_places() {
    for order in [["1", "2"], ["2", "1"]] {
        let mut floor = Floor::new();
        floor.stock("A", "1");
        floor.stock("B", "2");
        for place in order {
            let now = if place == "1" { "B" } else { "A" };
            floor.says(RACK, occupied(place, Some(now)));
        }
        assert_eq!((floor.place("A"), floor.place("B")), (in_slot("2"), in_slot("1")), "{order:?}");
    }
}

#[test]
fn a_stencil_moves_between_racks() {
    let mut floor = Floor::new();
    floor.stock("A", "1");
    floor.says(RACK_2, occupied("7", Some("A")));
    let place = Place::Slot { rack: machine(RACK_2), slot: slot("7") };
    assert_eq!(floor.place("A"), place);
    floor.says(RACK, emptied("1"));
    assert_eq!(floor.place("A"), place);
}
