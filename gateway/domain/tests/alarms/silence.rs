//! Alarms that are shelved, suppressed or out of service, and how they come back.

use stencilward_domain::alarm::AlarmState;
use stencilward_domain::event::AlarmChange;
use stencilward_domain::signal::WashOutcome;
use stencilward_domain::site::{AlarmAct, Reply};

use super::hall::{
    RESTARTED, WASHER_FAULT, WHO, acknowledge, act, changes, fault, fault_gone, faulty, maintain,
    maintained, pass, restarted_unseen, shelve, standing, state, take_out,
};
use crate::common::floor::Floor;
use crate::common::plant::{NAMER, WASHER};
use crate::common::words::{link_lost, link_up, wash_ended};

#[test]
fn shelving_ends_by_itself_and_the_alarm_is_judged_anew() {
    for gone in [false, true] {
        let mut floor = faulty();
        act(&mut floor, WASHER_FAULT, shelve(600)).unwrap();
        if gone {
            floor.says(WASHER, fault_gone());
        }
        pass(&mut floor, 599);
        assert_eq!(state(&floor, WASHER_FAULT), AlarmState::Shelved);
        pass(&mut floor, 1);
        let expected = if gone { AlarmState::Normal } else { AlarmState::Unacknowledged };
        assert_eq!(state(&floor, WASHER_FAULT), expected);
        assert_eq!(changes(&floor).last(), Some(&AlarmChange::Unshelved { by: None }));
    }
}

#[test]
fn what_begins_while_it_is_silenced_is_told_afterwards() {
    for (silence, end) in [(shelve(600), AlarmAct::Unshelve), (take_out(), AlarmAct::Return)] {
        let mut floor = faulty();
        floor.says(WASHER, fault_gone());
        pass(&mut floor, 61);
        act(&mut floor, WASHER_FAULT, acknowledge()).unwrap();
        assert_eq!(state(&floor, WASHER_FAULT), AlarmState::Normal);
        act(&mut floor, WASHER_FAULT, silence).unwrap();
        floor.says(WASHER, fault());
        pass(&mut floor, 30);
        assert!(state(&floor, WASHER_FAULT).is_silenced());
        act(&mut floor, WASHER_FAULT, end).unwrap();
        assert_eq!(state(&floor, WASHER_FAULT), AlarmState::Unacknowledged);
    }
}

/// IEC 62541-9 (OPC UA part 9), 5.8.17.1: what cannot be determined is unshelved.
#[test]
fn a_clock_that_was_put_back_does_not_shelve_for_longer() {
    let mut floor = faulty();
    act(&mut floor, WASHER_FAULT, shelve(600)).unwrap();
    floor.after(-9 * 3_600).tick();
    assert_eq!(state(&floor, WASHER_FAULT), AlarmState::Unacknowledged);
}

#[test]
fn maintenance_silences_what_follows_from_the_machine_and_nothing_else() {
    let mut floor = faulty();
    floor.says(NAMER, link_up());
    floor.does(&maintain(WASHER));
    floor.says(WASHER, link_lost());
    floor.says(WASHER, wash_ended(Some("A"), WashOutcome::Aborted));
    floor.says(NAMER, fault());
    floor.says(WASHER, link_lost());
    pass(&mut floor, 130);
    let mut shown = standing(&floor);
    shown.sort();
    assert_eq!(
        shown,
        [
            "link-lost:machine:washer suppressed",
            "machine-fault:fault:namer:E-17 unacknowledged",
            "machine-fault:fault:washer:E-17 suppressed",
            "wash-failed:stencil:A suppressed",
        ]
    );
    floor.says(WASHER, fault_gone());
    pass(&mut floor, 61);
    floor.does(&maintained(WASHER));
    pass(&mut floor, 1);
    let mut shown = standing(&floor);
    shown.sort();
    assert_eq!(
        shown,
        [
            "link-lost:machine:washer unacknowledged",
            "machine-fault:fault:namer:E-17 unacknowledged",
            "wash-failed:stencil:A unacknowledged",
        ]
    );
}

#[test]
fn maintenance_is_begun_and_ended_once_by_a_known_machine() {
    let mut floor = Floor::new();
    let refused = |reply: Reply, word: &str| {
        assert!(matches!(&reply, Reply::Refused(why) if why.contains(word)), "{reply:?}");
    };
    refused(floor.ask(&maintained(WASHER)), "not under maintenance");
    refused(floor.ask(&maintain("nowhere")), "no machine nowhere");
    floor.does(&maintain(WASHER));
    refused(floor.ask(&maintain(WASHER)), WHO);
    floor.does(&maintained(WASHER));
    assert!(floor.site.state().alarms.maintenance.is_empty());
}

#[test]
fn a_latch_outlasts_its_silence() {
    let (alarm, mut floor) = (RESTARTED, restarted_unseen());
    assert_eq!(state(&floor, alarm), AlarmState::Unacknowledged);
    pass(&mut floor, 61);
    assert_eq!(state(&floor, alarm), AlarmState::LatchedUnacknowledged);
    act(&mut floor, alarm, shelve(60)).unwrap();
    pass(&mut floor, 60);
    assert_eq!(state(&floor, alarm), AlarmState::LatchedUnacknowledged, "nobody has reset it");
}
