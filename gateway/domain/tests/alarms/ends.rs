//! What raises each kind of alarm, and what ends it.

use stencilward_domain::alarm::{AlarmState, Priority};
use stencilward_domain::signal::WashOutcome;
use stencilward_domain::site::Request;

use super::hall::{
    RESTARTED, WASHER_FAULT, acknowledge, act, fault, fault_gone, faulty, pass, priority, reset,
    restarted_unseen, standing, state, text,
};
use crate::common::floor::Floor;
use crate::common::plant::{MUTE, NAMER, RACK, RATED, WASHER, plant_with};
use crate::common::words::{
    code, emptied, grant, link_lost, link_up, machine, occupied, reads, remove, retire, seat,
    seated, store, strokes, wash_began, wash_ended, washed,
};

fn none(floor: &Floor) {
    assert_eq!(standing(floor), Vec::<String>::new());
}

/// Acknowledges, so that an alarm whose condition ends is gone.
fn known(floor: &mut Floor, alarm: &str) {
    assert_eq!(state(floor, alarm), AlarmState::Unacknowledged);
    act(floor, alarm, acknowledge()).expect("it can be acknowledged");
    assert_eq!(state(floor, alarm), AlarmState::Acknowledged);
}

#[test]
fn a_fault_of_any_machine() {
    for name in [WASHER, NAMER, RACK, "scanner"] {
        let mut floor = Floor::new();
        let alarm = format!("machine-fault:fault:{name}:E-17");
        floor.says(name, fault());
        pass(&mut floor, 5);
        none(&floor);
        pass(&mut floor, 1);
        known(&mut floor, &alarm);
        assert_eq!(text(&floor, &alarm), format!("{name} tells of fault E-17: pump off"));
        floor.says(name, fault_gone());
        pass(&mut floor, 60);
        assert_eq!(state(&floor, &alarm), AlarmState::Acknowledged);
        pass(&mut floor, 1);
        none(&floor);
    }
}

#[test]
fn a_machine_that_is_not_of_the_plant_or_on_trial_raises_none() {
    let trial = plant_with(|plant| plant.trial = [machine(WASHER)].into());
    let mut floor = Floor::of(trial);
    for name in [WASHER, "stranger"] {
        floor.says(name, link_up());
        floor.says(name, fault());
        floor.says(name, link_lost());
    }
    pass(&mut floor, 300);
    none(&floor);
}

#[test]
fn a_link_that_stays_lost() {
    let mut floor = Floor::new();
    let alarm = "link-lost:machine:washer";
    floor.says(WASHER, link_up());
    floor.says(WASHER, link_lost());
    pass(&mut floor, 120);
    none(&floor);
    pass(&mut floor, 1);
    known(&mut floor, alarm);
    assert_eq!(text(&floor, alarm), "the link to washer is lost: the cable is out");
    floor.says(WASHER, link_up());
    pass(&mut floor, 31);
    none(&floor);
}

#[test]
fn a_failed_wash_ends_with_one_that_passes() {
    let alarm = "wash-failed:stencil:A";
    for outcome in [WashOutcome::Failed, WashOutcome::Aborted] {
        let mut floor = Floor::new();
        floor.says(WASHER, wash_ended(Some("A"), outcome));
        pass(&mut floor, 1);
        known(&mut floor, alarm);
        floor.after(60).says(WASHER, wash_began(Some("A")));
        pass(&mut floor, 30);
        assert_eq!(state(&floor, alarm), AlarmState::Acknowledged, "a wash that only began");
        floor.says(WASHER, washed("A"));
        pass(&mut floor, 11);
        none(&floor);
    }
}

#[test]
fn a_retired_stencil_raises_none() {
    let mut floor = Floor::new();
    floor.says(WASHER, wash_ended(Some("A"), WashOutcome::Failed));
    pass(&mut floor, 1);
    known(&mut floor, "wash-failed:stencil:A");
    floor.does(&retire("A"));
    pass(&mut floor, 11);
    none(&floor);
}

#[test]
fn paste_that_dries_becomes_ever_more_urgent() {
    let alarm = "wash-overdue:stencil:A";
    let mut floor = Floor::new();
    floor.says(NAMER, link_up());
    floor.stock("A", "1");
    floor.bring("A", NAMER);
    floor.says(NAMER, strokes(1));
    floor.after(3_601).tick();
    assert_eq!(priority(&floor, alarm), Priority::Low);
    for (minutes, expected) in [
        (29, Priority::Low),
        (1, Priority::Medium),
        (30, Priority::High),
        (500, Priority::Critical),
    ] {
        floor.after(minutes * 60).tick();
        assert_eq!(priority(&floor, alarm), expected);
    }
    known(&mut floor, alarm);
    floor.after(3_600).tick();
    assert_eq!(state(&floor, alarm), AlarmState::Unacknowledged, "it is told again");
    known(&mut floor, alarm);
    floor.does(&remove(NAMER));
    floor.says(WASHER, wash_began(Some("A")));
    pass(&mut floor, 11);
    none(&floor);
}

#[test]
fn a_breach_ends_when_the_stencil_is_washed_or_stored_as_it_should() {
    let alarm = "storage-breached:stencil:U";
    for by_store in [false, true] {
        let mut floor = Floor::new();
        floor.says(RACK, link_up());
        floor.after(10).says(RACK, occupied("1", Some("U")));
        pass(&mut floor, 1);
        if standing(&floor).is_empty() {
            // Never seen before, it was found there: it must be put there under our eyes.
            floor.says(RACK, emptied("1"));
            floor.says(RACK, occupied("1", Some("U")));
            pass(&mut floor, 1);
        }
        known(&mut floor, alarm);
        assert_eq!(text(&floor, alarm), "U is in slot 1 of rack, where it may not be");
        floor.says(RACK, emptied("1"));
        pass(&mut floor, 11);
        assert_eq!(state(&floor, alarm), AlarmState::Acknowledged, "it is still unwashed");
        floor.says(WASHER, washed("U"));
        if by_store {
            assert!(floor.decides_for(&store("U", Some(RACK), Some("1"))).permitted());
            floor.says(RACK, occupied("1", Some("U")));
        }
        pass(&mut floor, 11);
        none(&floor);
    }
}

#[test]
fn a_breach_by_a_stencil_without_a_name_ends_with_its_slot() {
    let mut floor = Floor::new();
    floor.says(RACK, link_up());
    floor.says(RACK, emptied("1"));
    floor.after(10).says(RACK, occupied("1", None));
    pass(&mut floor, 1);
    known(&mut floor, "storage-breached:slot:rack:1");
    floor.says(RACK, emptied("1"));
    pass(&mut floor, 11);
    none(&floor);
}

#[test]
fn a_counter_that_is_doubted_until_it_is_believed() {
    let alarm = "counter-doubted:counter:namer:total";
    let mut floor = Floor::new();
    floor.says(NAMER, link_up());
    floor.says(NAMER, seated("A"));
    floor.says(NAMER, reads(100));
    floor.after(60).says(NAMER, reads(60_000));
    pass(&mut floor, 31);
    known(&mut floor, alarm);
    floor.says(NAMER, reads(101));
    pass(&mut floor, 31);
    none(&floor);
}

#[test]
fn a_restart_that_nobody_saw_stays_until_it_is_reset() {
    let (alarm, mut floor) = (RESTARTED, restarted_unseen());
    known(&mut floor, alarm);
    assert!(act(&mut floor, alarm, reset()).is_err(), "it has only just been found");
    pass(&mut floor, 61);
    assert_eq!(state(&floor, alarm), AlarmState::LatchedAcknowledged);
    act(&mut floor, alarm, reset()).expect("it is latched");
    assert_eq!(state(&floor, alarm), AlarmState::Normal);
    pass(&mut floor, 300);
    assert_eq!(state(&floor, alarm), AlarmState::Normal, "told once");
}

#[test]
fn strokes_that_are_nobodys_end_when_somebody_says_whose_they_are() {
    let alarm = "strokes-unattributed:machine:mute";
    let mut floor = Floor::new();
    floor.says(MUTE, link_up());
    floor.says(MUTE, strokes(3));
    pass(&mut floor, 301);
    known(&mut floor, alarm);
    assert_eq!(text(&floor, alarm), "mute made 3 strokes, and nobody can say with which stencil");
    let open = floor.site.state().unattributed.keys().next().copied().expect("strokes are open");
    let assign = |strokes, write_off| Request::Assign {
        of: open,
        shares: vec![(code("A"), strokes)],
        write_off,
        by: "M. Example".to_owned(),
        why: "the line says so".to_owned(),
    };
    floor.does(&assign(2, 0));
    pass(&mut floor, 20);
    assert_eq!(state(&floor, alarm), AlarmState::Acknowledged, "one is open still");
    floor.does(&assign(0, 1));
    pass(&mut floor, 11);
    none(&floor);
}

#[test]
fn a_stencil_at_its_end_in_a_printer() {
    let alarm = "stencil-stopped:stencil:A";
    let mut floor = Floor::new();
    floor.says(MUTE, link_up());
    floor.does(&seat("A", MUTE));
    floor.says(MUTE, strokes(RATED));
    pass(&mut floor, 1);
    known(&mut floor, alarm);
    assert_eq!(text(&floor, alarm), "A is in a printer, and at the end of its life");
    floor.does(&grant("A", 5, None));
    pass(&mut floor, 11);
    none(&floor);
    floor.says(MUTE, strokes(5));
    pass(&mut floor, 1);
    known(&mut floor, alarm);
    assert_eq!(text(&floor, alarm), "A is in a printer, and its concession is used up");
    floor.does(&remove(MUTE));
    pass(&mut floor, 11);
    none(&floor);
}

#[test]
fn a_full_intake() {
    let alarm = "intake-full:gateway";
    let mut floor = Floor::new();
    floor.site.intake_filled(89);
    pass(&mut floor, 20);
    none(&floor);
    floor.site.intake_filled(90);
    pass(&mut floor, 11);
    known(&mut floor, alarm);
    floor.site.intake_filled(50);
    pass(&mut floor, 61);
    assert_eq!(state(&floor, alarm), AlarmState::Acknowledged, "within the deadband");
    floor.site.intake_filled(49);
    pass(&mut floor, 61);
    none(&floor);
}

#[test]
fn what_is_gone_before_anybody_knew_waits_to_be_acknowledged() {
    let mut floor = faulty();
    floor.says(WASHER, fault_gone());
    pass(&mut floor, 61);
    assert_eq!(state(&floor, WASHER_FAULT), AlarmState::ReturnedUnacknowledged);
    floor.says(WASHER, fault());
    pass(&mut floor, 6);
    assert_eq!(state(&floor, WASHER_FAULT), AlarmState::Unacknowledged);
    floor.says(WASHER, fault_gone());
    pass(&mut floor, 61);
    act(&mut floor, WASHER_FAULT, acknowledge()).expect("it waits for that");
    none(&floor);
}

#[test]
fn a_kind_that_is_switched_off_ends() {
    let mut floor = faulty();
    let quiet =
        plant_with(|plant| plant.policy.alarms = stencilward_domain::alarm::AlarmPolicy::none());
    floor.begin_again_with(quiet);
    pass(&mut floor, 61);
    assert_eq!(state(&floor, WASHER_FAULT), AlarmState::ReturnedUnacknowledged);
}
