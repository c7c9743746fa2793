//! Storing: only after a wash that passed and is later than the last stroke.

mod common;

use common::floor::{Floor, codes, names};
use common::plant::{MUTE, NAMER, RACK, RACK_2, SCANNER, WASHER};
use common::words::{
    self, code, emptied, hold, link_up, machine, occupied, retire, seat, seated, slot, store,
    store_asked, strokes, wash_began, wash_ended, washed,
};
use stencilward_domain::event::{Event, Position};
use stencilward_domain::machine::Slot;
use stencilward_domain::place::Place;
use stencilward_domain::signal::{Said, WashOutcome};

/// Asks the rack, and gives the reasons' codes.
fn against(floor: &mut Floor, name: &str) -> Vec<&'static str> {
    codes(&floor.decides(RACK, store_asked(name, Some("1"))))
}

#[test]
fn each_reason_alone() {
    let mut floor = Floor::new();
    assert_eq!(against(&mut floor, "X"), ["unknown-stencil"]);
    assert_eq!(against(&mut floor, "U"), ["cleanliness-unknown"]);
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, strokes(1));
    assert_eq!(against(&mut floor, "A"), ["unwashed"]);
    floor.says(WASHER, wash_began(Some("A")));
    assert_eq!(against(&mut floor, "A"), ["washing"]);
    floor.says(WASHER, wash_ended(Some("A"), WashOutcome::Failed));
    assert_eq!(against(&mut floor, "A"), ["unwashed"]);
    floor.says(WASHER, washed("A"));
    assert_eq!(against(&mut floor, "A"), [""; 0]);
    floor.bring("B", NAMER);
    assert_eq!(against(&mut floor, "B"), ["elsewhere", "slot-promised"]);
    floor.says(RACK, occupied("1", Some("C")));
    assert_eq!(against(&mut floor, "A"), ["slot-taken"]);
    let elsewhere = floor.decides_for(&store("A", Some(NAMER), None));
    assert_eq!(codes(&elsewhere), ["not-a-rack"]);
}

#[test]
fn all_reasons_are_given_together_and_cite_what_made_them_so() {
    let mut floor = Floor::new();
    floor.stock("C", "1");
    floor.bring("A", NAMER);
    floor.says(NAMER, strokes(4));
    floor.after(60).says(NAMER, strokes(3));
    let decision = floor.decides(RACK, store_asked("A", Some("1")));
    assert_eq!(codes(&decision), ["unwashed", "elsewhere", "slot-taken"]);
    let first = |pick: fn(&Event) -> bool| {
        let found = floor.ledger.iter().find(|r| pick(&r.fact.event));
        found.map(|recorded| recorded.position)
    };
    let because: Vec<Option<Position>> = decision.reasons.iter().map(|c| c.because).collect();
    let stroke = first(|e| matches!(e, Event::StrokesBooked { .. }));
    let seat = first(|e| matches!(e, Event::Seated { .. }));
    assert!(stroke.is_some() && seat.is_some());
    assert_eq!(because, [stroke, seat, None]);
    let sentence = decision.to_string();
    assert!(sentence.starts_with("refused store A: printed with since its last wash (7 strokes)"));
}

#[test]
fn a_worn_held_or_retired_stencil_may_be_stored_it_has_to_stay_somewhere() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says(NAMER, strokes(1_000));
    floor.says(NAMER, Said::Removed);
    floor.says(WASHER, washed("A"));
    floor.does(&hold("A"));
    floor.does(&retire("A"));
    assert_eq!(against(&mut floor, "A"), [""; 0]);
}

#[test]
fn a_store_that_was_permitted_is_carried_out() {
    let mut floor = Floor::new();
    floor.says(RACK, emptied("1"));
    assert!(floor.decides(RACK, store_asked("A", Some("1"))).permitted());
    assert!(floor.door_open(RACK));
    assert_eq!(names(&floor.after(5).says(RACK, occupied("1", Some("A")))), ["stored"]);
    assert!(!floor.door_open(RACK));
    assert!(floor.site.is_stored(&code("A")));
}

/// A clean stencil that nobody asked about breaks no rule.
#[test]
fn a_clean_stencil_is_stored_without_being_asked_for() {
    let mut floor = Floor::new();
    floor.says(RACK, emptied("1"));
    assert_eq!(names(&floor.says(RACK, occupied("1", Some("A")))), ["stored"]);
}

#[test]
fn a_rack_that_reads_no_codes_is_told_by_the_permit() {
    for named in [Some("1"), None] {
        let mut floor = Floor::new();
        floor.says(RACK, emptied("1"));
        floor.decides(RACK, store_asked("A", named));
        assert_eq!(names(&floor.says(RACK, occupied("1", None))), ["stored"]);
        assert_eq!(floor.machine(RACK).slots.get(&slot("1")), Some(&Slot::Holds(code("A"))));
    }
}

#[test]
fn a_permit_does_not_explain_another_slot_or_one_of_two_stencils() {
    let mut floor = Floor::new();
    floor.says(RACK, emptied("1"));
    floor.says(RACK, emptied("2"));
    floor.decides(RACK, store_asked("A", Some("1")));
    assert_eq!(names(&floor.says(RACK, occupied("2", None))), ["storage-breached"]);
    floor.says(RACK, emptied("2"));
    floor.decides(RACK, store_asked("A", None));
    floor.decides(RACK, store_asked("B", None));
    assert_eq!(names(&floor.says(RACK, occupied("2", None))), ["storage-breached"]);
}

/// The rack repeats what its sensors show while somebody is about to store another stencil.
#[test]
fn a_slot_that_was_occupied_before_is_not_taken_for_the_store() {
    let mut floor = Floor::new();
    floor.stock("B", "2");
    floor.says(RACK, link_up());
    floor.says(RACK, occupied("3", None));
    floor.after(10).decides(RACK, store_asked("A", None));
    assert_eq!(floor.says(RACK, occupied("2", None)), []);
    assert_eq!(floor.says(RACK, occupied("3", None)), []);
    assert_eq!(floor.place("B"), Place::Slot { rack: machine(RACK), slot: slot("2") });
    assert_eq!(floor.place("A"), Place::InHand);
    assert_eq!(names(&floor.says(RACK, occupied("4", None))), ["stored"]);
    assert_eq!(floor.place("A"), Place::Slot { rack: machine(RACK), slot: slot("4") });
}

#[test]
fn an_unpermitted_store_is_a_breach_and_refuses_until_washed() {
    let mut floor = Floor::new();
    floor.says(RACK, emptied("1"));
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, strokes(2));
    floor.does(&words::remove(MUTE));
    let refused = floor.decides(RACK, store_asked("A", Some("1")));
    assert_eq!((codes(&refused), floor.door_open(RACK)), (vec!["unwashed"], false));
    let events = floor.says(RACK, occupied("1", Some("A")));
    assert_eq!(names(&events), ["storage-breached"]);
    assert!(matches!(&events[0], Event::StorageBreached { stencil: Some(a), reasons, .. }
        if *a == code("A") && reasons.len() == 1));
    assert_eq!(floor.says(RACK, occupied("1", Some("A"))), [], "said once");
    let take = floor.decides(RACK, words::take_asked("A", None));
    assert_eq!(codes(&take), ["unwashed"]);
    floor.says(RACK, emptied("1"));
    floor.says(WASHER, washed("A"));
    assert_eq!(names(&floor.says(RACK, occupied("1", Some("A")))), ["stored"]);
}

#[test]
fn a_stencil_that_nobody_can_name_is_a_breach_once() {
    let mut floor = Floor::new();
    floor.says(RACK, emptied("1"));
    let events = floor.says(RACK, occupied("1", Some("X")));
    assert!(matches!(&events[..], [Event::StorageBreached { stencil: None, reasons, .. }]
        if reasons[0].reason.code() == "unknown-stencil"));
    assert_eq!(floor.machine(RACK).slots.get(&slot("1")), Some(&Slot::HoldsUnknown));
    assert_eq!(floor.says(RACK, occupied("1", Some("X"))), []);
    assert_eq!(floor.says(RACK, occupied("1", None)), []);
    assert_eq!(names(&floor.says(RACK, emptied("1"))), ["slot-cleared"]);
    assert_eq!(floor.says(RACK, emptied("1")), []);
}

#[test]
fn what_a_rack_shows_when_it_is_first_heard_was_there_before() {
    let mut floor = Floor::new();
    floor.says(RACK, link_up());
    assert_eq!(names(&floor.says(RACK, occupied("1", Some("U")))), ["slot-found"]);
    assert_eq!(names(&floor.says(RACK, occupied("2", None))), ["slot-found"]);
    assert_eq!(names(&floor.after(3).says(RACK, occupied("3", None))), ["storage-breached"]);
    floor.says(RACK, emptied("4"));
    assert_eq!(floor.machine(RACK).slots.get(&slot("4")), None);
    assert_eq!(names(&floor.says(RACK, occupied("4", None))), ["storage-breached"]);
}

#[test]
fn neither_is_it_what_somebody_is_about_to_store() {
    let mut floor = Floor::new();
    floor.decides(RACK, store_asked("A", None));
    floor.says(RACK, link_up());
    assert_eq!(names(&floor.says(RACK, occupied("1", None))), ["slot-found"]);
    assert_eq!(names(&floor.after(3).says(RACK, occupied("2", None))), ["stored"]);
}

#[test]
fn only_a_stencil_without_a_history_is_found() {
    let mut floor = Floor::new();
    floor.says(RACK, link_up());
    floor.does(&seat("U", MUTE));
    assert_eq!(
        names(&floor.says(RACK, occupied("1", Some("U")))).last().map(String::as_str),
        Some("decided")
    );
    assert!(floor.ledger.iter().any(|r| matches!(r.fact.event, Event::StorageBreached { .. })));
}

/// Worn stencils come with the first configuration, too.
#[test]
fn a_stencil_that_is_listed_as_worn_is_found_like_any_other() {
    let mut floor = Floor::of(common::plant::plant_with(|plant| {
        if let Some(entry) = plant.stencils.get_mut(&code("U")) {
            entry.starting_strokes = 900;
        }
    }));
    floor.says(RACK, link_up());
    assert_eq!(names(&floor.says(RACK, occupied("1", Some("U")))), ["slot-found"]);
}

#[test]
fn a_stencil_that_was_found_stays_where_it_is_over_a_restart() {
    let mut floor = Floor::new();
    floor.says(RACK, link_up());
    floor.says(RACK, occupied("1", Some("U")));
    floor.says(RACK, occupied("2", None));
    floor.restart_after(5);
    floor.says(RACK, link_up());
    assert_eq!(floor.says(RACK, occupied("1", Some("U"))), []);
    assert_eq!(floor.says(RACK, occupied("1", None)), []);
    assert_eq!(floor.says(RACK, occupied("2", None)), []);
}

#[test]
fn strokes_that_arrive_late_refuse_a_stored_stencil() {
    let mut floor = Floor::new();
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, words::reads(10));
    floor.after(5).says(RACK, emptied("1"));
    floor.says(RACK, occupied("1", Some("A")));
    assert!(floor.site.is_stored(&code("A")));
    floor.after(60).says(MUTE, words::reads(12));
    assert_eq!(floor.strokes("A"), 2);
    let take = floor.decides(RACK, words::take_asked("A", None));
    assert_eq!(codes(&take), ["unwashed"]);
}

/// A scanner, or a person, asks in general: any rack will do.
#[test]
fn a_store_may_be_asked_without_naming_a_rack() {
    let mut floor = Floor::new();
    floor.does(&seat("A", MUTE));
    assert!(floor.decides(SCANNER, store_asked("A", None)).permitted());
    assert_eq!(floor.machine(MUTE).seat, None);
    floor.does(&seat("B", MUTE));
    assert!(floor.decides_for(&store("B", None, None)).permitted());
    assert_eq!(floor.against_printing(MUTE), ["nothing-seated"]);
    for (rack, place, name) in [(RACK, "1", "A"), (RACK_2, "1", "B")] {
        floor.says(rack, emptied(place));
        assert_eq!(names(&floor.says(rack, occupied(place, Some(name)))), ["stored"]);
    }
}

#[test]
fn the_answer_at_a_printer_follows_at_once_when_its_stencil_is_scanned_for_storage() {
    let mut floor = Floor::new();
    floor.decides(RACK, words::take_asked("A", None));
    floor.does(&seat("A", MUTE));
    assert!(floor.may_print(MUTE));
    floor.decides_for(&store("A", Some(RACK), None));
    assert!(!floor.may_print(MUTE));
    floor.decides(RACK, words::take_asked("A", None));
    floor.does(&seat("A", MUTE));
    assert!(floor.may_print(MUTE));
    floor.decides(SCANNER, store_asked("A", None));
    assert!(!floor.may_print(MUTE));
}

#[test]
fn a_question_asked_twice_is_answered_twice_the_same() {
    let mut floor = Floor::new();
    let first = floor.decides(RACK, store_asked("A", Some("1")));
    let second = floor.after(30).decides(RACK, store_asked("A", Some("1")));
    assert_eq!(first, second);
    assert_eq!(floor.machine(RACK).permits.len(), 1);
    floor.after(45);
    assert!(floor.door_open(RACK), "the later answer counts");
}

#[test]
fn a_refusal_takes_an_earlier_permit_back() {
    let mut floor = Floor::new();
    floor.decides(RACK, store_asked("A", Some("1")));
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, strokes(1));
    floor.does(&words::remove(MUTE));
    assert!(!floor.decides(RACK, store_asked("A", Some("1"))).permitted());
    assert!(!floor.door_open(RACK));
    floor.bring("B", NAMER);
    floor.says(NAMER, seated("C"));
    assert!(floor.decides(RACK, store_asked("B", None)).permitted());
}

/// Two who ask for one slot at once: the first may, the second is told why not, until the first
/// one's time is over.
#[test]
fn a_slot_is_promised_once() {
    let mut floor = Floor::new();
    for name in ["A", "B"] {
        floor.says(WASHER, washed(name));
    }
    assert!(floor.decides(RACK, store_asked("A", Some("1"))).permitted());
    let second = floor.decides(RACK, store_asked("B", Some("1")));
    assert_eq!(codes(&second), ["slot-promised"]);
    assert!(floor.decides(RACK, store_asked("A", Some("1"))).permitted(), "its own promise");
    assert!(floor.decides(RACK, store_asked("B", Some("2"))).permitted());
    assert!(floor.after(3_600).decides(RACK, store_asked("B", Some("1"))).permitted());
}
