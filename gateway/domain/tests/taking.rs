//! Taking: clean, fresh, free to use, tight, the right one, and here.

mod common;

use std::time::Duration;

use common::floor::{Floor, codes, names};
use common::plant::{NAMER, RACK, RACK_2, SCANNER, WASHER, plant_with, spec};
use common::words::{
    self, at, code, emptied, grant, hold, machine, occupied, order, order_spec, product, retire,
    seated, slot, strokes, take, take_asked, tension, wash_began, washed,
};
use stencilward_domain::event::{Event, StencilSpec};
use stencilward_domain::plant::{Plant, TensionPolicy};
use stencilward_domain::signal::{OrderSpec, Said, Side};
use stencilward_domain::site::Request;

fn against(floor: &mut Floor, name: &str) -> Vec<&'static str> {
    codes(&floor.decides(RACK, take_asked(name, None)))
}

fn worn(floor: &mut Floor, name: &str) {
    floor.bring(name, NAMER);
    floor.says(NAMER, strokes(990));
    floor.says(NAMER, Said::Removed);
    floor.says(WASHER, washed(name));
    floor.stock(name, "9");
}

#[test]
fn each_reason_of_state_alone() {
    let mut floor = Floor::new();
    assert_eq!(against(&mut floor, "X"), ["unknown-stencil"]);
    assert_eq!(against(&mut floor, "U"), ["cleanliness-unknown"]);
    assert_eq!(against(&mut floor, "A"), [""; 0]);
    floor.says(NAMER, seated("A"));
    assert_eq!(against(&mut floor, "A"), ["elsewhere"]);
    floor.says(NAMER, strokes(1));
    floor.says(NAMER, Said::Removed);
    assert_eq!(against(&mut floor, "A"), ["unwashed"]);
    floor.says(WASHER, wash_began(Some("A")));
    assert_eq!(against(&mut floor, "A"), ["washing", "elsewhere"]);
    floor.does(&hold("B"));
    assert_eq!(against(&mut floor, "B"), ["on-hold"]);
    floor.does(&retire("C"));
    assert_eq!(against(&mut floor, "C"), ["retired"]);
    let general = floor.decides_for(&take("U", Some(WASHER)));
    assert_eq!(codes(&general), ["not-a-rack", "cleanliness-unknown"]);
}

#[test]
fn a_worn_stencil_needs_a_concession() {
    let mut floor = Floor::new();
    worn(&mut floor, "A");
    let decision = floor.decides(RACK, take_asked("A", None));
    assert_eq!(codes(&decision), ["worn-out"]);
    let entered = floor.last(|e| matches!(e, Event::WearBandEntered { .. }));
    assert_eq!(decision.reasons[0].because, entered);
    floor.does(&grant("A", 1, Some(at(100))));
    assert_eq!(against(&mut floor, "A"), [""; 0]);
    assert_eq!(against(floor.at(100), "A"), ["worn-out"]);
    floor.does(&grant("A", 1, None));
    floor.says(RACK, emptied("9"));
    floor.says(NAMER, seated("A"));
    floor.says(NAMER, strokes(1));
    floor.says(NAMER, Said::Removed);
    floor.says(WASHER, washed("A"));
    floor.stock("A", "9");
    let decision = floor.decides(RACK, take_asked("A", None));
    assert_eq!(codes(&decision), ["concession-used-up"]);
    let granted = floor.last(|e| matches!(e, Event::ConcessionGranted { .. }));
    assert_eq!(decision.reasons[0].because, granted);
}

#[test]
fn a_wash_ages_and_citing_it_says_which() {
    let mut floor = Floor::new();
    floor.says(WASHER, washed("A"));
    floor.stock("A", "1");
    let wash = floor.last(|e| matches!(e, Event::WashEnded { .. }));
    assert_eq!(against(floor.at(72 * 3_600), "A"), [""; 0]);
    let decision = floor.at(72 * 3_600 + 1).decides(RACK, take_asked("A", None));
    assert_eq!(codes(&decision), ["wash-too-old"]);
    assert_eq!(decision.reasons[0].because, wash);
    let mut any_age = Floor::of(plant_with(|plant| plant.policy.wash_age = None));
    assert_eq!(against(any_age.at(9_000_000), "A"), [""; 0]);
}

fn with_tension(plant: &mut Plant) {
    plant.policy.tension =
        Some(TensionPolicy { lowest_centi: 3_000, every: Duration::from_secs(3_600) });
}

#[test]
fn tension_is_measured_in_time_and_high_enough() {
    let mut floor = Floor::of(plant_with(with_tension));
    assert_eq!(against(&mut floor, "A"), ["tension-overdue"]);
    floor.says(SCANNER, tension("A", 29.99));
    let decision = floor.decides(RACK, take_asked("A", None));
    assert_eq!(codes(&decision), ["tension-too-low"]);
    let measured = floor.last(|e| matches!(e, Event::Measured { .. }));
    assert_eq!(decision.reasons[0].because, measured);
    floor.says(SCANNER, tension("A", 30.0));
    assert_eq!(against(&mut floor, "A"), [""; 0]);
    assert_eq!(against(floor.at(3_600), "A"), [""; 0]);
    assert_eq!(against(floor.at(3_601), "A"), ["tension-overdue"]);
    floor.says(SCANNER, tension("A", 12.0));
    assert_eq!(against(floor.at(9_000), "A"), ["tension-overdue", "tension-too-low"]);
}

/// JSON has no such numbers: an event with one could be written, and never read back.
#[test]
fn a_value_that_is_no_number_is_no_measurement() {
    let mut floor = Floor::of(plant_with(with_tension));
    for value in [f64::NAN, f64::INFINITY, f64::NEG_INFINITY] {
        assert_eq!(floor.says(SCANNER, tension("A", value)), []);
    }
    floor.says(SCANNER, tension("A", f64::MAX));
    assert_eq!(floor.stencil("A").tension.as_ref().map(|t| t.value), Some(i64::MAX));
}

/// The stencil A for one product, side and revision.
fn for_board(plant: &mut Plant) {
    if let Some(entry) = plant.stencils.get_mut(&code("A")) {
        entry.spec = StencilSpec {
            product: Some(product("board-7")),
            side: Some(Side::Top),
            revision: Some("C".to_owned()),
            ..spec("A")
        };
    }
}

fn asks_for(product_name: &str, side: Side, revision: &str) -> OrderSpec {
    OrderSpec {
        product: Some(product(product_name)),
        side: Some(side),
        revision: Some(revision.to_owned()),
        ..order_spec("WO-1")
    }
}

#[test]
fn the_order_names_the_right_product_side_and_revision() {
    let table: [(OrderSpec, &[&str]); 6] = [
        (asks_for("board-7", Side::Top, "C"), &[]),
        (order_spec("WO-1"), &[]),
        (asks_for("board-8", Side::Top, "C"), &["wrong-product"]),
        (asks_for("board-7", Side::Bottom, "C"), &["wrong-side"]),
        (asks_for("board-7", Side::Top, "D"), &["wrong-revision"]),
        (
            asks_for("board-8", Side::Bottom, "D"),
            &["wrong-product", "wrong-side", "wrong-revision"],
        ),
    ];
    for (asked, expected) in table {
        let mut floor = Floor::of(plant_with(for_board));
        floor.says(SCANNER, Said::OrderReleased(asked.clone()));
        let decision = floor.decides(RACK, take_asked("A", Some("WO-1")));
        assert_eq!(codes(&decision), expected, "{asked:?}");
        let unnamed = floor.decides(RACK, take_asked("B", Some("WO-1")));
        assert!(unnamed.permitted(), "a stencil that is listed for nothing fits all");
        floor.bring("A", NAMER);
        floor.says(NAMER, Said::OrderStarted(asked.clone()));
        let printing = floor.against_printing(NAMER);
        assert_eq!(printing, expected, "{asked:?}");
    }
}

#[test]
fn a_finished_order_asks_for_nothing() {
    let mut floor = Floor::of(plant_with(for_board));
    floor.bring("A", NAMER);
    floor.says(NAMER, Said::OrderStarted(asks_for("board-8", Side::Top, "C")));
    assert_eq!(floor.against_printing(NAMER), ["wrong-product"]);
    floor.says(NAMER, Said::OrderFinished { order: order("WO-1"), made: None });
    assert_eq!(floor.against_printing(NAMER), [""; 0]);
    assert!(floor.may_print(NAMER));
}

#[test]
fn all_reasons_are_given_together() {
    let mut floor = Floor::of(plant_with(|plant| {
        for_board(plant);
        with_tension(plant);
    }));
    floor.says(NAMER, seated("A"));
    floor.says(NAMER, strokes(1_000));
    floor.does(&hold("A"));
    floor.does(&retire("A"));
    floor.says(SCANNER, Said::OrderReleased(asks_for("board-8", Side::Bottom, "D")));
    let decision = floor.decides(RACK, take_asked("A", Some("WO-1")));
    let expected = [
        "unwashed",
        "on-hold",
        "retired",
        "worn-out",
        "tension-overdue",
        "wrong-product",
        "wrong-side",
        "wrong-revision",
        "elsewhere",
    ];
    assert_eq!(codes(&decision), expected);
}

#[test]
fn a_permitted_take_is_carried_out_within_its_time() {
    let mut floor = Floor::new();
    floor.stock("A", "1");
    let decision = floor.decides(RACK, take_asked("A", None));
    assert!(decision.permitted());
    assert_eq!((decision.machine, decision.slot), (Some(machine(RACK)), Some(slot("1"))));
    let events = floor.after(59).says(RACK, emptied("1"));
    assert!(matches!(events[..], [Event::Taken { permitted: true, .. }]));
    assert!(floor.stencil("A").taken.is_some());
    assert!(!floor.door_open(RACK));
}

#[test]
fn a_stencil_that_is_taken_without_permission_may_not_be_printed_with() {
    for (ask_for, wait) in [(None, 0), (Some("A"), 60), (Some("B"), 0)] {
        let mut floor = Floor::new();
        floor.stock("A", "1");
        floor.stock("B", "2");
        if let Some(name) = ask_for {
            floor.decides(RACK, take_asked(name, None));
        }
        let events = floor.after(wait).says(RACK, emptied("1"));
        assert!(matches!(events[..], [Event::Taken { permitted: false, .. }]), "{ask_for:?}");
        floor.says(NAMER, seated("A"));
        assert_eq!(floor.against_printing(NAMER), ["not-taken"]);
        floor.says(NAMER, Said::Removed);
        assert!(floor.decides(RACK, take_asked("A", None)).permitted(), "brought back");
        floor.says(NAMER, seated("A"));
        assert_eq!(floor.against_printing(NAMER), [""; 0]);
    }
}

#[test]
fn a_stencil_in_another_rack_is_elsewhere() {
    let mut floor = Floor::new();
    floor.says(RACK_2, occupied("1", Some("A")));
    let decision = floor.decides(RACK, take_asked("A", None));
    assert_eq!(codes(&decision), ["elsewhere"]);
    assert_eq!(decision.machine, Some(machine(RACK)));
}

/// A handheld scanner does not say at which rack its operator stands.
#[test]
fn a_take_that_names_no_rack_is_for_the_rack_that_holds_the_stencil() {
    for by_scanner in [true, false] {
        let mut floor = Floor::new();
        floor.says(RACK_2, occupied("4", Some("A")));
        let decision = if by_scanner {
            floor.decides(SCANNER, take_asked("A", None))
        } else {
            floor.decides_for(&take("A", None))
        };
        assert!(decision.permitted(), "{decision}");
        assert_eq!((decision.machine, decision.slot), (Some(machine(RACK_2)), Some(slot("4"))));
        assert!(floor.door_open(RACK_2) && !floor.door_open(RACK));
        let events = floor.says(RACK_2, emptied("4"));
        assert!(matches!(events[..], [Event::Taken { permitted: true, .. }]));
    }
}

#[test]
fn a_slot_that_nobody_could_name_is_named_as_it_empties() {
    let mut floor = Floor::new();
    floor.says(RACK, words::link_up());
    floor.says(RACK, occupied("1", None));
    let left = Said::SlotEmptied { slot: slot("1"), code: Some(code("U")) };
    assert_eq!(names(&floor.says(RACK, left)), ["taken"]);
    assert!(floor.stencil("U").taken.is_none());
}

fn take_by(name: &str, who: &str) -> Request {
    Request::Take { stencil: code(name), rack: None, order: None, by: Some(who.to_owned()) }
}

fn store_by(name: &str, who: &str) -> Request {
    Request::Store { stencil: code(name), rack: None, slot: None, by: Some(who.to_owned()) }
}

/// Whether the stencil lies in a rack or in somebody's hands.
#[test]
fn of_two_people_the_first_has_the_stencil() {
    for in_rack in [true, false] {
        let mut floor = Floor::new();
        if in_rack {
            floor.stock("A", "1");
        }
        assert!(floor.decides_for(&take_by("A", "first")).permitted());
        let promised = floor.last(|event| matches!(event, Event::Decided { .. }));
        let late = floor.decides_for(&take_by("A", "second"));
        assert_eq!(codes(&late), ["promised"]);
        assert_eq!(late.reasons[0].because, promised);
        assert!(!in_rack || floor.door_open(RACK), "the first one's door stays open");
        assert!(floor.decides_for(&take_by("A", "first")).permitted(), "may ask again");
        assert!(floor.decides_for(&take_by("B", "second")).permitted(), "another one is free");
        let until = if in_rack { RACK } else { SCANNER };
        assert!(floor.decides(until, take_asked("A", None)).permitted(), "a rack is not kept");
    }
}

#[test]
fn a_promise_ends_with_its_time_or_its_use() {
    let mut floor = Floor::new();
    floor.stock("A", "1");
    floor.decides_for(&take_by("A", "first"));
    assert_eq!(codes(&floor.after(59).decides_for(&take_by("A", "second"))), ["promised"]);
    assert!(floor.after(1).decides_for(&take_by("A", "second")).permitted());
    floor.says(RACK, emptied("1"));
    assert!(floor.decides_for(&take_by("A", "first")).permitted(), "the second has taken it");
    floor.decides_for(&store_by("A", "second"));
    assert!(floor.decides_for(&take_by("A", "second")).permitted(), "it was brought back");
    floor.says(NAMER, seated("A"));
    floor.says(NAMER, Said::Removed);
    assert!(floor.decides_for(&take_by("A", "first")).permitted(), "it was printed with");
    floor.does(&hold("A"));
    assert_eq!(codes(&floor.decides_for(&take_by("A", "second"))), ["on-hold", "promised"]);
    floor.does(&words::release("A"));
    assert!(floor.decides_for(&take_by("A", "second")).permitted(), "nobody was on the way");
}
