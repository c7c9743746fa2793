//! What chatters does not flood the ledger.

use stencilward_domain::event::{AlarmEvent, Event};
use stencilward_domain::signal::Said;

use super::hall::{changes, fault, fault_gone, pass};
use crate::common::floor::Floor;
use crate::common::plant::WASHER;
use crate::common::words::{link_lost, link_up};

/// Ten times a second for an hour, then once in every second.
#[test]
fn a_fault_that_chatters_is_told_once_at_most_in_its_delays() {
    let mut floor = Floor::new();
    for second in 0..3_600 {
        for _ in 0..5 {
            floor.says(WASHER, fault());
            floor.says(WASHER, fault_gone());
        }
        if second % 2 == 0 {
            floor.says(WASHER, fault());
        }
        pass(&mut floor, 1);
    }
    assert_eq!(changes(&floor), [], "it never stood for as long as the on-delay");
}

/// The documented bound: two events for each on-delay and off-delay.
#[test]
fn the_worst_chatter_writes_two_events_a_cycle() {
    let mut floor = Floor::new();
    let (on, off) = (5, 60);
    for _ in 0..20 {
        floor.says(WASHER, fault());
        pass(&mut floor, on + 1);
        floor.says(WASHER, fault_gone());
        pass(&mut floor, off + 1);
    }
    assert_eq!(changes(&floor).len(), 40);
    for _ in 0..20 {
        floor.says(WASHER, fault());
        pass(&mut floor, on + 1);
        floor.says(WASHER, fault_gone());
        pass(&mut floor, off - 1);
    }
    assert_eq!(changes(&floor).len(), 41, "a gap shorter than the off-delay is none");
}

#[test]
fn a_link_that_comes_and_goes_raises_nothing() {
    let mut floor = Floor::new();
    for _ in 0..200 {
        floor.says(WASHER, link_up());
        pass(&mut floor, 2);
        floor.says(WASHER, link_lost());
        pass(&mut floor, 100);
    }
    assert_eq!(changes(&floor), []);
}

/// A machine that invents ever new fault codes fills neither list nor ledger with alarms.
#[test]
fn one_machine_has_twenty_fault_alarms_at_most() {
    let mut floor = Floor::new();
    for number in (0..500).rev() {
        let (code, text) = (format!("{number:03}"), "new".to_owned());
        floor.says(WASHER, Said::FaultRaised { code, text });
        pass(&mut floor, 1);
    }
    pass(&mut floor, 10);
    assert_eq!(floor.site.active_alarms(floor.now).len(), 20);
    let raised = changes(&floor).len();
    assert!(raised <= 20, "{raised}: an alarm that stands is not pushed out by a newer fault");
}

#[test]
fn what_a_machine_writes_is_held_short() {
    let mut floor = Floor::new();
    let said = Said::FaultRaised { code: "1".to_owned(), text: "ü".repeat(10_000) };
    floor.says(WASHER, said);
    pass(&mut floor, 6);
    let longest = floor.ledger.iter().filter_map(|recorded| match &recorded.fact.event {
        Event::Alarm(AlarmEvent::Moved(moved)) => moved.raised.as_ref(),
        _ => None,
    });
    assert_eq!(longest.map(|raised| raised.what.chars().count()).max(), Some(501));
}
