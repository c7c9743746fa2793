//! Messages that come twice: recognised by their identity, answered as before.

mod common;

use common::floor::{Floor, names};
use common::plant::{MUTE, NAMER, NAMER_2, RACK, SCANNER, WASHER};
use common::words::{
    counter, emptied, occupied, order_spec, reports, seat, seated, store_asked, strokes,
    take_asked, washed,
};
use stencilward_domain::event::Event;
use stencilward_domain::machine::IDENTITIES_KEPT;
use stencilward_domain::signal::{Reading, Said, Width};

fn printing() -> Floor {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor
}

#[test]
fn strokes_that_come_twice_are_booked_once() {
    let mut floor = printing();
    floor.says_as(NAMER, Some("17"), strokes(3));
    let (events, _) = floor.says_as(NAMER, Some("17"), strokes(3));
    assert_eq!((events, floor.strokes("A")), (Vec::new(), 3));
    floor.says_as(NAMER, Some("18"), strokes(3));
    assert_eq!(floor.strokes("A"), 6);
}

#[test]
fn strokes_without_an_identity_are_all_new() {
    let mut floor = printing();
    floor.says(NAMER, strokes(3));
    floor.says(NAMER, strokes(3));
    assert_eq!(floor.strokes("A"), 6);
}

#[test]
fn an_identity_is_one_machines_and_one_kinds_own() {
    let mut floor = printing();
    floor.bring("B", NAMER_2);
    floor.says_as(NAMER, Some("17"), strokes(3));
    floor.says_as(NAMER_2, Some("17"), strokes(4));
    assert_eq!((floor.strokes("A"), floor.strokes("B")), (3, 4));
    floor.says_as(NAMER, Some("17"), Said::Removed);
    assert_eq!(floor.machine(NAMER).seat, None);
}

#[test]
fn strokes_that_nobody_could_be_given_come_once_too() {
    let mut floor = Floor::new();
    floor.says_as(NAMER, Some("1"), strokes(3));
    floor.says_as(NAMER, Some("1"), strokes(3));
    assert_eq!(floor.machine(NAMER).unattributed, 3);
}

#[test]
fn a_repeat_is_recognised_after_a_restart() {
    let mut floor = printing();
    floor.says_as(NAMER, Some("17"), strokes(3));
    floor.says_as(WASHER, Some("w1"), washed("B"));
    floor.start_again();
    let (again, _) = floor.says_as(NAMER, Some("17"), strokes(3));
    let (washed_again, _) = floor.says_as(WASHER, Some("w1"), washed("B"));
    assert_eq!((again, washed_again), (Vec::new(), Vec::new()));
    assert_eq!((floor.strokes("A"), floor.stencil("B").washes), (3, 1));
}

/// The printer cannot say that the stencil is in it again; the broker repeats the wash.
#[test]
fn a_wash_that_is_redelivered_does_not_clean_what_prints_again() {
    let mut floor = Floor::new();
    floor.says_as(WASHER, Some("w1"), washed("A"));
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, strokes(5));
    let (events, _) = floor.says_as(WASHER, Some("w1"), washed("A"));
    assert_eq!(events, []);
    assert_eq!(floor.cleanliness("A").as_str(), "printed");
    assert!(floor.machine(MUTE).seat.is_some());
}

#[test]
fn a_question_that_comes_twice_gets_the_same_answer_and_no_second_permit() {
    let mut floor = Floor::new();
    let ask = |floor: &mut Floor| floor.says_as(RACK, Some("q1"), store_asked("A", Some("1"))).1;
    let first = ask(&mut floor);
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, strokes(1));
    floor.after(30);
    let events = floor.ledger.len();
    assert_eq!(ask(&mut floor), first, "what was answered was answered");
    assert_eq!(floor.ledger.len(), events);
    assert!(!floor.after(30).door_open(RACK), "not held open by the repeat");
    let refused = floor.says_as(RACK, Some("q2"), store_asked("A", Some("1"))).1;
    assert!(refused.is_some_and(|decision| !decision.permitted()));
}

#[test]
fn an_answer_survives_a_restart() {
    let mut floor = Floor::new();
    let (_, first) = floor.says_as(RACK, Some("q1"), take_asked("U", None));
    floor.start_again();
    let (events, second) = floor.says_as(RACK, Some("q1"), take_asked("U", None));
    assert_eq!((events, second), (Vec::new(), first));
}

/// A scanner asks in general, so that its answer belongs to no machine: asked again, decided again.
#[test]
fn a_scanners_question_is_decided_again() {
    let mut floor = Floor::new();
    let (_, first) = floor.says_as(SCANNER, Some("q1"), store_asked("A", None));
    let (_, second) = floor.says_as(SCANNER, Some("q1"), store_asked("A", None));
    assert!(first.is_some() && first == second);
}

#[test]
fn a_breach_is_noted_once() {
    let mut floor = Floor::new();
    floor.says(RACK, emptied("1"));
    let (first, _) = floor.says_as(RACK, Some("b1"), occupied("1", Some("U")));
    assert_eq!(names(&first), ["storage-breached"]);
    floor.says(RACK, emptied("1"));
    let (again, _) = floor.says_as(RACK, Some("b1"), occupied("1", Some("U")));
    assert_eq!(again, []);
}

#[test]
fn a_reported_total_may_come_twice_and_late() {
    let mut floor = printing();
    for raw in [100, 101, 101, 102, 102, 102, 103] {
        floor.after(5).says(NAMER, reports(raw));
    }
    assert_eq!(floor.strokes("A"), 3);
}

#[test]
fn what_changes_nothing_is_not_written_again() {
    let mut floor = printing();
    let raised = Said::FaultRaised { code: "E-17".to_owned(), text: "paste low".to_owned() };
    let ended = Said::FaultEnded { code: "E-17".to_owned() };
    let words = [
        raised,
        ended,
        Said::OrderReleased(order_spec("WO-1")),
        Said::OrderStarted(order_spec("WO-1")),
        seated("A"),
    ];
    for said in words {
        floor.says(NAMER, said.clone());
        assert_eq!(floor.says(NAMER, said.clone()), [], "{said:?}");
    }
    let stranger = Said::OrderFinished { order: common::words::order("WO-2"), made: None };
    assert_eq!(floor.says(NAMER, stranger), []);
}

#[test]
fn the_memory_for_identities_is_bounded_and_forgets_the_oldest() {
    let mut floor = printing();
    let most = u64::try_from(IDENTITIES_KEPT).expect("a small number");
    for message in 0..=most {
        floor.says_as(NAMER, Some(&message.to_string()), strokes(1));
    }
    assert_eq!(floor.strokes("A"), most + 1);
    floor.says_as(NAMER, Some("1"), strokes(1));
    assert_eq!(floor.strokes("A"), most + 1, "still known");
    floor.says_as(NAMER, Some("0"), strokes(1));
    assert_eq!(floor.strokes("A"), most + 2, "forgotten");
}

/// Found as a module's messages began to book to the printer it counts for.
#[test]
fn a_repeat_from_a_machine_that_counts_for_another_is_recognised() {
    let mut floor = Floor::of(common::plant::plant_with(|plant| {
        let module = plant.machines.get_mut(&common::words::machine(SCANNER)).expect("a machine");
        module.counts_for = Some(common::words::machine(NAMER));
        let printer = plant.machines.get_mut(&common::words::machine(NAMER)).expect("a printer");
        printer.bases.book = [stencilward_domain::event::BasisKind::Pulses].into();
    }));
    floor.bring("A", NAMER);
    for _ in 0..3 {
        floor.says_as(SCANNER, Some("m-1"), strokes(2));
    }
    assert_eq!(floor.strokes("A"), 2);
    floor.start_again();
    floor.says_as(SCANNER, Some("m-1"), strokes(2));
    assert_eq!(floor.strokes("A"), 2, "the ledger remembers");
}

#[test]
fn a_scanners_question_that_comes_twice_is_answered_once() {
    let mut floor = Floor::new();
    let ask = common::words::take_asked("A", None);
    let (first, answer) = floor.says_as(SCANNER, Some("q-1"), ask.clone());
    assert_eq!((names(&first).len(), answer.as_ref().map(|a| a.permitted())), (1, Some(true)));
    let (again, same) = floor.says_as(SCANNER, Some("q-1"), ask);
    assert_eq!((again, same), (Vec::new(), answer));
}

#[test]
fn a_washer_that_says_its_end_twice_has_washed_once() {
    let mut floor = printing();
    floor.says(NAMER, Said::Removed);
    floor.says(WASHER, washed("A"));
    assert_eq!(floor.after(5).says(WASHER, washed("A")), []);
    assert_eq!(floor.stencil("A").washes, 1);
    floor.after(600).says(WASHER, washed("A"));
    assert_eq!(floor.stencil("A").washes, 2, "a second programme");
}

fn numbered(number: u64) -> Said {
    Said::MessageNumbered { sequence: "a".to_owned(), number }
}

/// What never arrived is told with how many it was, once, also after a restart; what comes again
/// and a machine that begins anew are no gap.
#[test]
fn a_gap_between_numbered_messages_is_told_with_its_size() {
    let mut floor = Floor::new();
    let mut missed = |number: u64| -> u64 {
        let events = floor.says(NAMER, numbered(number));
        if number == 9 {
            floor.start_again();
        }
        let of = |event: &Event| match event {
            Event::MessageNumbered(numbered) => numbered.missed,
            _ => 0,
        };
        events.iter().map(of).sum()
    };
    let heard = [5, 6, 6, 9, 10, 8, 9, 10, 11, 1, 2, 4, u64::MAX, 0, 1];
    let told: Vec<u64> = heard.into_iter().map(&mut missed).collect();
    assert_eq!(told, [0, 0, 0, 2, 0, 0, 0, 0, 0, 0, 0, 1, u64::MAX - 5, 0, 0]);
}

fn total(raw: u64, reading: Reading) -> Said {
    Said::CounterRead { counter: counter("total"), raw, width: Width::Bits16, reading }
}

/// A broker sends again what was not confirmed when the gateway was killed: totals that were
/// counted already, and then those that were not. A total that fell is a restart only when it
/// comes for the first time.
#[test]
fn totals_that_come_again_behind_the_known_one_say_nothing() {
    for (first, passed, news) in [(50, [58, 59, 60], 61), (65_530, [65_535, 0, 2], 3)] {
        let mut floor = printing();
        floor.says(NAMER, total(first, Reading::Reported));
        for raw in passed {
            floor.after(30);
            floor.says(NAMER, total(raw, Reading::Reported));
        }
        let counted = floor.strokes("A");
        for raw in passed {
            floor.says(NAMER, total(raw, Reading::ReportedAgain));
        }
        assert_eq!(floor.strokes("A"), counted, "{passed:?}");
        floor.after(30);
        floor.says(NAMER, total(news, Reading::ReportedAgain));
        assert_eq!(floor.strokes("A"), counted + 1, "{news} is news");
        floor.after(30);
        floor.says(NAMER, total(0, Reading::Reported));
        floor.says(NAMER, total(1, Reading::Reported));
        assert_eq!(floor.strokes("A"), counted + 2, "switched off and on");
    }
}
