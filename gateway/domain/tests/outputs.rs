//! Outputs: refused unless something permits them now.

mod common;

use common::floor::Floor;
use common::plant::{CLEAN, DOOR, MUTE, NAMER, NAMER_2, PERMIT, RACK, RACK_2, plant};
use common::words::{
    at, hold, machine, occupied, release, seated, store_asked, strokes, take_asked,
};
use stencilward_domain::names::OutputName;
use stencilward_domain::outputs::Wanted;
use stencilward_domain::signal::Said;
use stencilward_domain::site::Site;

fn output(name: &str) -> OutputName {
    OutputName::new(name).expect("a good name")
}

#[test]
fn everything_is_refused_at_first() {
    let new = Site::new(plant());
    let started = Floor::new();
    for wanted in [new.wanted(at(0)), started.site.wanted(at(0))] {
        assert_eq!(wanted, Wanted::default());
        for name in plant().machines.keys() {
            assert!(!wanted.permits(name, &output(PERMIT)));
            assert!(!wanted.permits(name, &output(DOOR)));
        }
    }
}

#[test]
fn a_print_permit_follows_the_decision() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    assert!(floor.may_print(NAMER));
    assert!(!floor.may_print(NAMER_2) && !floor.may_print(MUTE));
    floor.does(&hold("A"));
    assert!(!floor.may_print(NAMER));
    floor.does(&release("A"));
    assert!(floor.may_print(NAMER));
    floor.says(NAMER, Said::Removed);
    assert!(!floor.may_print(NAMER));
}

#[test]
fn only_the_outputs_of_the_configuration_are_permitted() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says("stranger", seated("B"));
    let wanted = floor.site.wanted(floor.now);
    assert!(wanted.permits(&machine(NAMER), &output(PERMIT)));
    assert!(!wanted.permits(&machine(NAMER), &output("another")));
    assert!(!wanted.permits(&machine("stranger"), &output(PERMIT)));
}

#[test]
fn a_door_is_released_for_as_long_as_the_permit_lasts() {
    for said in [store_asked("A", Some("1")), take_asked("A", None)] {
        let mut floor = Floor::new();
        assert!(floor.decides(RACK, said).permitted());
        assert!(floor.at(0).door_open(RACK));
        assert!(!floor.door_open(RACK_2));
        assert!(floor.at(59).door_open(RACK));
        assert!(!floor.at(60).door_open(RACK));
    }
}

#[test]
fn a_refused_question_releases_no_door() {
    let mut floor = Floor::new();
    floor.decides(RACK, store_asked("U", Some("1")));
    assert!(!floor.door_open(RACK));
}

#[test]
fn each_permit_holds_the_door_until_its_own_stencil_is_in() {
    let mut floor = Floor::new();
    floor.says(RACK, common::words::emptied("1"));
    floor.says(RACK, common::words::emptied("2"));
    floor.decides(RACK, store_asked("A", Some("1")));
    floor.decides(RACK, store_asked("B", Some("2")));
    floor.says(RACK, occupied("1", Some("A")));
    assert!(floor.door_open(RACK));
    floor.says(RACK, occupied("2", Some("B")));
    assert!(!floor.door_open(RACK));
}

#[test]
fn a_clock_put_back_does_not_hold_the_door_open() {
    let mut floor = Floor::new();
    floor.at(7_200).decides(RACK, take_asked("A", None));
    assert!(floor.door_open(RACK));
    assert!(!floor.at(3_600).door_open(RACK));
}

#[test]
fn a_permit_outlives_a_restart_no_longer_than_its_time() {
    let mut floor = Floor::new();
    floor.decides(RACK, take_asked("A", None));
    floor.restart_after(30);
    assert!(floor.door_open(RACK));
    assert!(!floor.at(60).door_open(RACK));
}

#[test]
fn a_print_permit_is_decided_anew_at_a_restart() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.restart_after(60);
    assert!(floor.may_print(NAMER), "a short pause is trusted");
    floor.restart_after(600);
    assert!(!floor.may_print(NAMER), "a long one is not");
}

#[test]
fn a_worn_stencil_stops_its_printer_by_itself() {
    for name in CLEAN {
        let mut floor = Floor::new();
        floor.bring(name, NAMER);
        floor.says(NAMER, strokes(989));
        assert!(floor.may_print(NAMER));
        floor.says(NAMER, strokes(1));
        assert!(!floor.may_print(NAMER));
    }
}

#[test]
fn refusing_all_refuses_all_and_keeps_the_beat() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    let mut wanted = floor.site.wanted(floor.now);
    wanted.beat = 7;
    wanted.refuse_all();
    assert!(!wanted.permits(&machine(NAMER), &output(PERMIT)));
    assert_eq!(wanted.beat, 7);
}
