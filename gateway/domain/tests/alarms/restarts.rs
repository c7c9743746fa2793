//! Alarms across restarts, and beside decisions: equal ledgers give equal alarms, and no decision
//! looks at one.

use std::time::Duration;

use proptest::prelude::*;
use stencilward_domain::alarm::{AlarmId, AlarmPolicy, AlarmState};
use stencilward_domain::event::{Event, Recorded};
use stencilward_domain::plant::Plant;
use stencilward_domain::site::{AlarmAct, Request, Site};
use stencilward_domain::state::State;

use super::hall::{
    WASHER_FAULT, WHO, acknowledge, act, fault, fault_gone, faulty, maintain, maintained, pass,
    shelve, standing, state, take_out,
};
use crate::common::floor::Floor;
use crate::common::moves::{Move, moves};
use crate::common::plant::{WASHER, plant, plant_with};

fn replayed<'a>(ledger: impl IntoIterator<Item = &'a Recorded>) -> State {
    let mut site = Site::new(plant());
    ledger.into_iter().for_each(|recorded| site.replay(recorded));
    site.state().clone()
}

#[test]
fn shelved_stays_shelved_until_its_time() {
    let mut floor = faulty();
    act(&mut floor, WASHER_FAULT, shelve(600)).unwrap();
    floor.restart_after(300);
    pass(&mut floor, 299);
    assert_eq!(state(&floor, WASHER_FAULT), AlarmState::Shelved);
    pass(&mut floor, 1);
    assert_eq!(state(&floor, WASHER_FAULT), AlarmState::Unacknowledged);
}

#[test]
fn shelved_comes_back_when_its_time_passed_while_nobody_ran() {
    let mut floor = faulty();
    act(&mut floor, WASHER_FAULT, shelve(600)).unwrap();
    floor.restart_after(601);
    pass(&mut floor, 10);
    assert_eq!(standing(&floor), [format!("{WASHER_FAULT} unacknowledged")]);
}

#[test]
fn a_shorter_policy_ends_what_was_shelved_for_longer() {
    let mut floor = faulty();
    act(&mut floor, WASHER_FAULT, shelve(600)).unwrap();
    let strict = plant_with(|plant| {
        plant.policy.alarms.shelve_at_most = Duration::from_secs(60);
    });
    floor.begin_again_with(strict);
    pass(&mut floor, 6);
    assert_eq!(state(&floor, WASHER_FAULT), AlarmState::Unacknowledged);
}

#[test]
fn what_people_said_outlasts_a_crash() {
    for (does, expected) in [
        (acknowledge(), AlarmState::Acknowledged),
        (take_out(), AlarmState::OutOfService),
        (shelve(600), AlarmState::Shelved),
    ] {
        let mut floor = faulty();
        act(&mut floor, WASHER_FAULT, does).unwrap();
        floor.start_again();
        pass(&mut floor, 10);
        assert_eq!(state(&floor, WASHER_FAULT), expected);
    }
}

#[test]
fn a_delay_that_was_running_begins_anew() {
    let mut floor = Floor::new();
    floor.says(WASHER, fault());
    pass(&mut floor, 4);
    floor.start_again();
    pass(&mut floor, 5);
    assert_eq!(standing(&floor), Vec::<String>::new());
    pass(&mut floor, 1);
    assert_eq!(standing(&floor), [format!("{WASHER_FAULT} unacknowledged")]);
}

#[test]
fn suppression_outlasts_a_restart_and_ends_with_the_maintenance() {
    let mut floor = faulty();
    floor.does(&maintain(WASHER));
    pass(&mut floor, 1);
    floor.start_again();
    pass(&mut floor, 10);
    assert_eq!(state(&floor, WASHER_FAULT), AlarmState::Suppressed);
    floor.does(&maintained(WASHER));
    pass(&mut floor, 1);
    assert_eq!(state(&floor, WASHER_FAULT), AlarmState::Unacknowledged);
    floor.says(WASHER, fault_gone());
    pass(&mut floor, 61);
    assert_eq!(state(&floor, WASHER_FAULT), AlarmState::ReturnedUnacknowledged);
}

/// Delays of nothing, so that as much as can happens.
fn hasty() -> Plant {
    plant_with(|plant| {
        for kind in stencilward_domain::alarm::AlarmKind::ALL {
            let mut policy = plant.policy.alarms.of(kind);
            (policy.on_delay, policy.off_delay) = (Duration::ZERO, Duration::from_secs(1));
            plant.policy.alarms.kinds.insert(kind, policy);
        }
        plant.policy.print_needs_take = false;
    })
}

/// What somebody does with whatever stands.
fn acts() -> impl Strategy<Value = AlarmAct> {
    prop_oneof![
        3 => Just(acknowledge()),
        1 => Just(super::hall::reset()),
        1 => Just(shelve(100)),
        1 => Just(AlarmAct::Unshelve),
        1 => Just(take_out()),
        1 => Just(AlarmAct::Return),
    ]
}

fn carried_out(moves: &[(Move, Option<AlarmAct>, u8)]) -> Floor {
    let mut floor = Floor::of(hasty());
    for (one, act, maintenance) in moves {
        one.happens(&mut floor);
        floor.after(1).tick();
        if let Some(act) = act {
            let alarms: Vec<AlarmId> = floor.site.state().alarms.all.keys().cloned().collect();
            floor.ask(&Request::Alarms { alarms, act: act.clone(), by: WHO.to_owned() });
        }
        match maintenance {
            0 => drop(floor.ask(&maintain(WASHER))),
            1 => drop(floor.ask(&maintained(WASHER))),
            _ => {}
        }
    }
    floor
}

fn without_alarms(ledger: &[Recorded]) -> Vec<Event> {
    let events = ledger.iter().map(|recorded| &recorded.fact.event);
    events.filter(|event| !matches!(event, Event::Alarm(_))).cloned().collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(200))]

    #[test]
    fn state_from_events_is_the_live_state(
        moves in prop::collection::vec((moves(), prop::option::of(acts()), 0..8u8), 1..60),
    ) {
        let floor = carried_out(&moves);
        prop_assert_eq!(&replayed(&floor.ledger), floor.site.state());
        let lines = floor.ledger.iter().map(|recorded| serde_json::to_string(recorded).unwrap());
        let read: Vec<Recorded> = lines.map(|line| serde_json::from_str(&line).unwrap()).collect();
        prop_assert_eq!(read, floor.ledger);
    }

    #[test]
    fn no_decision_looks_at_an_alarm(moves in prop::collection::vec(moves(), 1..60)) {
        let (mut with, mut without) = (Floor::of(hasty()), Floor::of(Plant {
            policy: stencilward_domain::plant::Policy { alarms: AlarmPolicy::none(), ..hasty().policy },
            ..hasty()
        }));
        for one in &moves {
            for floor in [&mut with, &mut without] {
                // Stopped in order: after a crash the last event says until when the gateway ran,
                // and an alarm is an event like any other.
                match one {
                    Move::Restart => drop(floor.restart_after(0)),
                    _ => one.happens(floor),
                }
                floor.after(1).tick();
            }
            prop_assert_eq!(with.site.wanted(with.now), without.site.wanted(without.now));
        }
        prop_assert_eq!(kinds(&with), kinds(&without));
    }
}

/// The events without alarms, by kind: positions differ, and with them what decisions cite.
fn kinds(floor: &Floor) -> Vec<String> {
    crate::common::floor::names(&without_alarms(&floor.ledger))
}
