//! Messages that come late land where they belong: the stories, and their mirror images.
//!
//! Times are seconds after the start; a minute of the stories is sixty of them.

mod common;

use Cleanliness::{Clean, Printed, Unknown, Washing};
use common::floor::Floor;
use common::plant::{MUTE, NAMER, RACK, WASHER, plant_with};
use common::words::{
    code, emptied, hand_wash, link_lost, link_resumed, machine, occupied, seat, seated, store,
    strokes, take, tension, wash_began, wash_ended, washed,
};
use stencilward_domain::event::{
    Basis, ClockWrong, DecisionDoubted, Event, Position, WhyUnattributed,
};
use stencilward_domain::place::Place;
use stencilward_domain::plant::Plant;
use stencilward_domain::signal::{MachineState, Said, WashOutcome};
use stencilward_domain::site::{Correction, Reply, Request, Wrong};
use stencilward_domain::stencil::Cleanliness;

/// Ten, eleven o'clock.
const TEN: i64 = 36_000;
const ELEVEN: i64 = TEN + 3_600;

fn timed() -> Plant {
    plant_with(|plant| {
        plant.timed = [NAMER, MUTE, WASHER].map(machine).into();
        plant.policy.print_needs_take = false;
        plant.policy.hand_reported_wash = true;
    })
}

/// A plant that takes a printer's stencil to stay in it across an outage unless it is scanned.
fn trusting() -> Plant {
    let mut plant = timed();
    plant.policy.trusted_outage = std::time::Duration::from_secs(2 * 3_600);
    plant
}

fn idle() -> Said {
    Said::State { state: MachineState::Idle, word: "idle".to_owned() }
}

/// A minute after ten.
fn past_ten(minutes: i64) -> i64 {
    TEN + minutes * 60
}

/// A plant whose machines' clocks agree with the gateway's, at half past nine.
fn morning() -> Floor {
    morning_of(timed())
}

fn morning_of(plant: Plant) -> Floor {
    let mut floor = Floor::of(plant);
    for name in [NAMER, MUTE, WASHER] {
        floor.at(TEN - 1_800).says(name, link_resumed());
        floor.tells(name, TEN - 1_800, idle());
    }
    floor
}

/// The printer cannot be reached from ten to eleven; what it tells then comes at eleven.
fn after_an_outage(floor: &mut Floor, spooled: &[(i64, Said)]) {
    floor.at(ELEVEN).says(NAMER, link_resumed());
    for (minutes, said) in spooled {
        floor.tells(NAMER, past_ten(*minutes), said.clone());
    }
    assert_eq!(floor.replayed().state(), floor.site.state(), "replayed as it was lived");
}

fn doubts(floor: &Floor) -> Vec<DecisionDoubted> {
    let doubts = floor.ledger.iter().filter_map(|recorded| match &recorded.fact.event {
        Event::DecisionDoubted(doubted) => Some(doubted.clone()),
        _ => None,
    });
    doubts.collect()
}

fn told_against(doubted: &DecisionDoubted) -> Vec<&'static str> {
    doubted.reasons.iter().map(|cause| cause.reason.code()).collect()
}

/// Where the permission of this stencil's last take or store is written.
fn permitted(floor: &Floor) -> Position {
    let permitted =
        |event: &Event| matches!(event, Event::Decided { decision, .. } if decision.permitted());
    floor.last(permitted).expect("something was permitted")
}

#[test]
fn late_strokes_before_a_wash_leave_the_stencil_clean_and_permitted() {
    let mut floor = morning();
    floor.at(past_ten(-5)).tells(NAMER, past_ten(-5), seated("A"));
    floor.at(TEN).says(NAMER, link_lost());
    floor.at(past_ten(45)).tells(WASHER, past_ten(45), washed("A"));
    floor.at(past_ten(47)).decides_for(&store("A", Some(RACK), Some("1")));
    floor.says(RACK, occupied("1", Some("A")));
    let decision = floor.at(past_ten(50)).decides_for(&take("A", None));
    assert!(decision.permitted(), "{decision}");
    floor.says(RACK, emptied("1"));
    after_an_outage(&mut floor, &[(10, strokes(3)), (11, strokes(4)), (40, Said::Removed)]);
    assert_eq!((floor.strokes("A"), floor.cleanliness("A")), (7, Clean));
    let stencil = floor.stencil("A");
    assert_eq!((stencil.strokes_since_wash, stencil.washes), (0, 1));
    assert_eq!(floor.place("A"), Place::InHand, "taken, and not moved by what is past");
    assert_eq!(doubts(&floor), []);
    assert!(floor.site.case(floor.now).take(&code("A"), None, None).permitted());
}

#[test]
fn late_strokes_after_a_wash_leave_the_stencil_printed_and_doubt_what_was_permitted() {
    let mut floor = morning();
    floor.at(past_ten(-5)).tells(NAMER, past_ten(-5), seated("A"));
    floor.at(TEN).says(NAMER, link_lost());
    floor.at(past_ten(5)).tells(WASHER, past_ten(5), washed("A"));
    let decision = floor.at(past_ten(50)).decides_for(&store("A", Some(RACK), Some("1")));
    assert!(decision.permitted(), "{decision}");
    let decision = permitted(&floor);
    after_an_outage(&mut floor, &[(20, seated("A")), (21, strokes(3)), (22, strokes(4))]);
    assert_eq!((floor.cleanliness("A"), floor.stencil("A").strokes_since_wash), (Printed, 7));
    assert_eq!(doubts(&floor), [], "the printer may tell more of that time");
    floor.after(61).tick();
    floor.start_again();
    floor.after(61).tick();
    let doubts = doubts(&floor);
    let [doubted] = &doubts[..] else { panic!("the same is told once: {doubts:?}") };
    assert_eq!(told_against(doubted), ["unwashed"]);
    assert_eq!(doubted.decision, decision);
    let booked = |event: &Event| matches!(event, Event::StrokesBooked { count: 4, .. });
    assert_eq!(Some(doubted.late), floor.last(booked));
    assert_eq!(doubted.machine, Some(machine(RACK)));
    let shown = floor.stencil("A").doubted.as_ref().expect("the stencil shows it");
    assert_eq!(shown.value.decision, decision);
    floor.after(600).tells(NAMER, ELEVEN + 722, Said::Removed);
    floor.after(600).tells(WASHER, ELEVEN + 1_322, washed("A"));
    assert_eq!(floor.stencil("A").doubted, None, "until it is washed");
}

#[test]
fn what_is_told_first_may_be_undone_by_what_is_told_next() {
    let mut floor = morning();
    floor.at(TEN).says(NAMER, link_lost());
    let decision = floor.at(past_ten(50)).decides_for(&store("A", Some(RACK), Some("1")));
    assert!(decision.permitted(), "{decision}");
    after_an_outage(&mut floor, &[(10, seated("A")), (12, Said::Removed), (55, seated("B"))]);
    floor.after(61).tick();
    assert_eq!(doubts(&floor), []);
}

#[test]
fn a_decision_is_doubted_as_soon_as_the_machine_has_told_all_of_the_time_before() {
    let mut floor = morning();
    floor.at(TEN).says(NAMER, link_lost());
    floor.at(past_ten(50)).decides_for(&store("A", Some(RACK), Some("1")));
    let decision = permitted(&floor);
    let told = [(10, seated("A")), (11, strokes(2)), (12, Said::Removed), (55, seated("B"))];
    after_an_outage(&mut floor, &told);
    let doubts = doubts(&floor);
    let [doubted] = &doubts[..] else { panic!("one decision: {doubts:?}") };
    assert_eq!((doubted.decision, told_against(doubted)), (decision, vec!["unwashed"]));
    assert_eq!(floor.replayed().state(), floor.site.state());
}

#[test]
fn what_was_permitted_before_a_late_event_happened_is_not_doubted() {
    let mut floor = morning();
    let decision = floor.at(past_ten(-10)).decides_for(&take("A", None));
    assert!(decision.permitted(), "{decision}");
    floor.at(past_ten(-5)).tells(NAMER, past_ten(-5), seated("A"));
    floor.at(TEN).says(NAMER, link_lost());
    after_an_outage(&mut floor, &[(10, strokes(3))]);
    assert_eq!(floor.cleanliness("A"), Printed);
    assert_eq!(doubts(&floor), []);
}

#[test]
fn a_late_wash_cleans_only_what_was_printed_before_it() {
    for (minutes, after) in [(-10, (Clean, 0)), (30, (Printed, 5))] {
        let mut floor = morning();
        floor.at(past_ten(-20)).tells(NAMER, past_ten(-20), seated("U"));
        floor.at(past_ten(-15)).tells(NAMER, past_ten(-15), strokes(2));
        floor.at(past_ten(-12)).says(WASHER, link_lost());
        floor.at(past_ten(minutes)).tells(NAMER, past_ten(minutes), strokes(5));
        floor.at(past_ten(35)).tells(NAMER, past_ten(35), Said::Removed);
        floor.at(ELEVEN).says(WASHER, link_resumed());
        floor.tells(WASHER, past_ten(-2), wash_began(Some("U")));
        floor.tells(WASHER, TEN, washed("U"));
        let stencil = floor.stencil("U");
        assert_eq!((stencil.cleanliness.value, stencil.strokes_since_wash), after, "{minutes}");
        assert_eq!((stencil.washes, stencil.strokes), (1, 7));
        assert_eq!(floor.place("U"), Place::InHand, "it was seen since");
        assert_eq!(floor.replayed().state(), floor.site.state());
    }
}

#[test]
fn a_late_wash_does_not_clean_what_may_have_been_printed_with_since() {
    let mut floor = morning();
    floor.at(past_ten(-20)).says(WASHER, link_lost());
    floor.at(past_ten(20)).does(&seat("U", MUTE));
    floor.at(past_ten(29)).says(MUTE, link_lost());
    floor.at(past_ten(39)).says(MUTE, common::words::link_up());
    floor.at(past_ten(39) + 30).tells(MUTE, past_ten(39) + 30, strokes(5));
    assert_eq!((floor.strokes("U"), floor.cleanliness("U")), (0, Unknown), "nobody's");
    floor.at(ELEVEN).says(WASHER, link_resumed());
    floor.tells(WASHER, TEN, washed("U"));
    assert_eq!(floor.cleanliness("U"), Printed);
}

#[test]
fn a_late_wash_that_failed_before_one_that_passed_changes_nothing_and_the_mirror_image() {
    for (first, then, after) in [
        (WashOutcome::Passed, WashOutcome::Aborted, (Unknown, 1)),
        (WashOutcome::Failed, WashOutcome::Passed, (Clean, 1)),
        (WashOutcome::Passed, WashOutcome::Failed, (Unknown, 1)),
        (WashOutcome::Passed, WashOutcome::Passed, (Clean, 2)),
    ] {
        let mut floor = morning();
        floor.at(past_ten(-20)).says(WASHER, link_lost());
        floor.at(past_ten(30)).does(&hand_wash("U", then));
        floor.at(ELEVEN).says(WASHER, link_resumed());
        floor.tells(WASHER, TEN, wash_ended(Some("U"), first));
        let stencil = floor.stencil("U");
        assert_eq!((stencil.cleanliness.value, stencil.washes), after, "{first:?}, {then:?}");
    }
}

#[test]
fn a_late_wash_told_twice_counts_once() {
    let mut floor = morning();
    floor.at(past_ten(-20)).says(WASHER, link_lost());
    floor.at(past_ten(30)).tells(NAMER, past_ten(30), seated("A"));
    floor.at(ELEVEN).says(WASHER, link_resumed());
    floor.tells(WASHER, TEN, washed("A"));
    floor.tells(WASHER, TEN + 10, washed("A"));
    floor.tells(WASHER, TEN + 300, washed("A"));
    assert_eq!(floor.stencil("A").washes, 2);
}

#[test]
fn a_wash_under_way_goes_on_whatever_was_printed_before() {
    let mut floor = morning();
    floor.at(past_ten(-5)).tells(NAMER, past_ten(-5), seated("A"));
    floor.at(TEN).says(NAMER, link_lost());
    floor.at(past_ten(58)).tells(WASHER, past_ten(58), wash_began(Some("A")));
    after_an_outage(&mut floor, &[(10, strokes(3)), (40, Said::Removed)]);
    assert_eq!((floor.cleanliness("A"), floor.stencil("A").strokes_since_wash), (Washing, 3));
    let failed = wash_ended(Some("A"), WashOutcome::Failed);
    floor.after(60).tells(WASHER, ELEVEN + 60, failed);
    assert_eq!(floor.cleanliness("A"), Printed);
}

#[test]
fn late_strokes_are_those_of_the_stencil_that_was_in_the_printer_then() {
    let mut floor = morning();
    floor.at(past_ten(-5)).tells(NAMER, past_ten(-5), seated("A"));
    floor.at(TEN).says(NAMER, link_lost());
    let spooled = [
        (5, strokes(2)),
        (20, seated("B")),
        (25, strokes(3)),
        (30, Said::Removed),
        (35, seated("C")),
        (40, strokes(4)),
    ];
    after_an_outage(&mut floor, &spooled);
    let made = ["A", "B", "C"].map(|name| floor.strokes(name));
    assert_eq!(made, [2, 3, 4]);
    assert_eq!(floor.place("C"), Place::Printer { machine: machine(NAMER) });
    assert_eq!(floor.stencil("C").place.since, common::words::at(past_ten(35)));
    assert_eq!(floor.stencil("B").place.since, common::words::at(past_ten(30)));
}

#[test]
fn what_a_person_scanned_since_stays_in_the_printer() {
    let mut floor = morning_of(trusting());
    floor.at(past_ten(-5)).does(&seat("A", MUTE));
    floor.at(past_ten(2)).says(MUTE, link_lost());
    floor.at(past_ten(30)).does(&seat("B", MUTE));
    floor.at(ELEVEN).says(MUTE, link_resumed());
    floor.tells(MUTE, past_ten(10), strokes(2));
    floor.tells(MUTE, past_ten(40), strokes(3));
    assert_eq!((floor.strokes("A"), floor.strokes("B")), (2, 3));
    assert_eq!(floor.place("B"), Place::Printer { machine: machine(MUTE) });
    assert_eq!(floor.replayed().state(), floor.site.state());
}

#[test]
fn strokes_about_when_a_person_scanned_are_either_ones() {
    let mut floor = morning_of(trusting());
    floor.at(past_ten(-5)).does(&seat("A", MUTE));
    floor.at(past_ten(2)).says(MUTE, link_lost());
    floor.at(past_ten(30)).does(&seat("B", MUTE));
    floor.at(ELEVEN).says(MUTE, link_resumed());
    let events = floor.tells(MUTE, past_ten(30) + 3, strokes(2));
    let why = WhyUnattributed::ChangedMeanwhile;
    assert!(
        matches!(&events[0], Event::StrokesUnattributed { why: told, .. } if *told == why),
        "{events:?}"
    );
}

#[test]
fn a_late_change_does_not_move_a_stencil_that_was_seen_elsewhere_since() {
    let mut floor = morning();
    floor.stock("A", "1");
    floor.at(TEN).says(NAMER, link_lost());
    floor.at(past_ten(30)).does(&seat("A", MUTE));
    after_an_outage(&mut floor, &[(10, seated("A")), (12, strokes(3)), (20, Said::Removed)]);
    assert_eq!(floor.place("A"), Place::Printer { machine: machine(MUTE) });
    assert_eq!(floor.strokes("A"), 3);
}

#[test]
fn a_late_change_moves_a_stencil_that_was_not_seen_since() {
    let mut floor = morning();
    floor.stock("A", "1");
    floor.at(TEN).says(NAMER, link_lost());
    after_an_outage(&mut floor, &[(10, seated("A"))]);
    assert_eq!(floor.place("A"), Place::Printer { machine: machine(NAMER) });
    let slots = &floor.machine(RACK).slots;
    assert!(slots.values().all(|slot| *slot == stencilward_domain::machine::Slot::Empty));
}

#[test]
fn strokes_from_before_anybody_remembers_are_nobodys() {
    let mut floor = morning_of(trusting());
    floor.says(MUTE, link_lost());
    floor.at(past_ten(30)).does(&seat("A", MUTE));
    for change in 0..600 {
        let name = if change % 2 == 0 { "B" } else { "A" };
        floor.at(past_ten(31) + change).does(&seat(name, MUTE));
    }
    floor.at(ELEVEN).says(MUTE, link_resumed());
    let events = floor.tells(MUTE, past_ten(31), strokes(1));
    let why = WhyUnattributed::TooLate;
    assert!(
        matches!(&events[0], Event::StrokesUnattributed { why: told, .. } if *told == why),
        "{events:?}"
    );
}

#[test]
fn a_restart_in_the_middle_of_a_backlog_changes_nothing() {
    let mut floor = morning();
    floor.at(past_ten(-5)).tells(NAMER, past_ten(-5), seated("A"));
    floor.at(TEN).says(NAMER, link_lost());
    floor.at(past_ten(30)).tells(WASHER, past_ten(30), washed("B"));
    floor.restart_after(60);
    after_an_outage(&mut floor, &[(5, strokes(2)), (20, seated("B"))]);
    floor.start_again();
    after_an_outage(&mut floor, &[(25, strokes(3)), (28, Said::Removed)]);
    assert_eq!((floor.strokes("A"), floor.strokes("B")), (2, 3));
    assert_eq!((floor.cleanliness("A"), floor.cleanliness("B")), (Printed, Clean));
}

#[test]
fn a_backlog_as_the_first_thing_is_not_believed() {
    let mut floor = Floor::of(timed());
    floor.at(ELEVEN).says(NAMER, link_resumed());
    floor.tells(NAMER, TEN, seated("A"));
    floor.tells(NAMER, TEN + 60, strokes(2));
    assert!(floor.ledger.iter().all(|recorded| recorded.fact.happened.is_none()));
    assert_eq!(floor.stencil("A").place.since, common::words::at(ELEVEN));
}

#[test]
fn a_time_that_cannot_be_is_told_once_and_counts_from_when_it_came() {
    for (told, expected) in [(ELEVEN, ClockWrong::Ahead), (TEN - 7_200, ClockWrong::Back)] {
        let mut floor = morning();
        floor.at(TEN).tells(NAMER, told, seated("A"));
        floor.at(TEN + 10).tells(NAMER, told + 10, strokes(2));
        let wrong = floor.ledger.iter().filter_map(|recorded| match &recorded.fact.event {
            Event::ClockDoubted(doubted) => Some(doubted.wrong),
            _ => None,
        });
        assert_eq!(wrong.collect::<Vec<_>>(), [expected]);
        assert_eq!((floor.strokes("A"), floor.cleanliness("A")), (2, Printed));
        assert!(floor.ledger.iter().all(|recorded| recorded.fact.happened.is_none()));
        assert_eq!(floor.replayed().state(), floor.site.state());
    }
}

#[test]
fn machines_whose_messages_tell_no_event_time_are_heard_as_ever() {
    let mut floor = morning_of(plant_with(|plant| plant.timed = [WASHER].map(machine).into()));
    floor.at(past_ten(-5)).tells(NAMER, past_ten(-5), seated("A"));
    floor.at(TEN).says(NAMER, link_lost());
    floor.at(past_ten(45)).tells(WASHER, past_ten(45), washed("A"));
    after_an_outage(&mut floor, &[(10, strokes(3))]);
    assert_eq!(floor.cleanliness("A"), Printed, "by the order of arrival");
}

#[test]
fn a_late_measurement_does_not_replace_a_newer_one() {
    let mut floor = morning();
    floor.at(past_ten(30)).tells(WASHER, past_ten(30), tension("A", 40.0));
    floor.at(ELEVEN).tells(NAMER, TEN, tension("A", 20.0));
    assert_eq!(floor.stencil("A").tension.as_ref().map(|tension| tension.value), Some(4_000));
}

#[test]
fn the_wait_for_a_wash_is_reckoned_from_when_it_was_printed_with() {
    let mut floor = morning();
    floor.at(past_ten(-5)).tells(NAMER, past_ten(-5), seated("A"));
    floor.at(TEN).says(NAMER, link_lost());
    after_an_outage(&mut floor, &[(-2, strokes(3))]);
    let events = floor.after(1).tick();
    assert!(events.iter().any(|event| matches!(event, Event::DriedOut { .. })), "{events:?}");
}

#[test]
fn a_correction_of_late_strokes_and_of_those_before_a_late_wash_goes_by_time() {
    let mut floor = morning();
    floor.at(past_ten(-5)).tells(NAMER, past_ten(-5), seated("A"));
    floor.at(TEN).says(NAMER, link_lost());
    floor.at(past_ten(20)).does(&hand_wash("B", WashOutcome::Passed));
    floor.at(past_ten(22)).does(&hand_wash("C", WashOutcome::Passed));
    after_an_outage(&mut floor, &[(10, strokes(3)), (21, strokes(5))]);
    let booked = floor.ledger.iter().filter(|recorded| {
        matches!(&recorded.fact.event, Event::StrokesBooked { basis: Basis::Reported { .. }, .. })
    });
    let booked: Vec<_> = booked.cloned().collect();
    let what = |name, count| Wrong::Strokes(vec![(code(name), count)]);
    for (original, name, count) in [(&booked[0], "B", 3), (&booked[1], "C", 5)] {
        let (by, why) = ("M. Example".to_owned(), "an invented reason".to_owned());
        let correction = Correction { what: what(name, count), by, why };
        let reply = floor.site.correct(original, &correction, floor.now);
        assert!(matches!(reply, Reply::Done(_)), "{reply:?}");
        assert_eq!((floor.strokes(name), floor.cleanliness(name)), (count, Clean), "washed since");
    }
    let (by, why) = ("M. Example".to_owned(), "an invented reason".to_owned());
    let correction = Correction { what: what("B", 5), by, why };
    let reply = floor.site.correct(&booked[1], &correction, floor.now);
    assert!(matches!(reply, Reply::Done(_)), "{reply:?}");
    assert_eq!(floor.cleanliness("B"), Printed, "not washed since");
}

#[test]
fn strokes_that_people_assign_are_washed_off_by_a_wash_later_than_they_were_made() {
    let mut floor = morning();
    floor.at(TEN).says(NAMER, link_lost());
    floor.at(past_ten(20)).does(&hand_wash("A", WashOutcome::Passed));
    after_an_outage(&mut floor, &[(10, strokes(3))]);
    let open = *floor.site.state().unattributed.keys().next().expect("nobody's");
    let (by, why) = ("M. Example".to_owned(), "an invented reason".to_owned());
    let shares = vec![(code("A"), 3)];
    floor.does(&Request::Assign { of: open, shares, write_off: 0, by, why });
    assert_eq!((floor.strokes("A"), floor.cleanliness("A")), (3, Clean));
}

#[test]
fn a_late_wash_before_one_that_failed_leaves_nobody_knowing() {
    let mut floor = morning();
    floor.at(past_ten(-20)).tells(NAMER, past_ten(-20), seated("A"));
    floor.at(past_ten(-18)).tells(NAMER, past_ten(-18), strokes(3));
    floor.at(past_ten(-16)).tells(NAMER, past_ten(-16), Said::Removed);
    floor.at(past_ten(-15)).says(WASHER, link_lost());
    floor.at(past_ten(30)).does(&hand_wash("A", WashOutcome::Failed));
    assert_eq!(floor.cleanliness("A"), Printed);
    floor.at(ELEVEN).says(WASHER, link_resumed());
    floor.tells(WASHER, TEN, washed("A"));
    assert_eq!((floor.cleanliness("A"), floor.stencil("A").strokes_since_wash), (Unknown, 0));
}
