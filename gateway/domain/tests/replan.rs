//! Another configuration takes effect while the gateway works.

mod common;

use common::floor::{Floor, names};
use common::plant::{CYCLE, NAMER, NAMER_2, RACK, WASHER, listed, plant, plant_with};
use common::words::{link_up, machine, reads, seated, take_asked};
use stencilward_domain::event::Event;
use stencilward_domain::machine::LinkState;
use stencilward_domain::plant::{Listed, Plant};
use stencilward_domain::site::{Replan, Request};
use stencilward_domain::wear::{Share, WearBand, WearLimits};

fn by(plant: Plant, ended: &[&str]) -> Replan {
    let ended = ended.iter().map(|name| machine(name)).collect();
    Replan { plant, changes: vec!["as the test has it".to_owned()], by: None, ended }
}

/// ST-A in a printer that names it, 4 strokes booked, the lock open.
fn printing() -> Floor {
    let mut floor = Floor::new();
    floor.says(NAMER, link_up());
    floor.bring("A", NAMER);
    floor.says(NAMER, reads(100));
    floor.after(60).says(NAMER, reads(104));
    assert!(floor.may_print(NAMER));
    floor
}

#[test]
fn a_policy_turns_decisions_at_once() {
    let mut floor = printing();
    let strict = plant_with(|plant| plant.policy.strokes_between_washes = Some(3));
    assert_eq!(floor.replan(by(strict, &[])), ["configured", "decided"]);
    assert!(!floor.may_print(NAMER));
    assert_eq!(floor.replan(by(plant(), &[])), ["configured", "decided"]);
    assert!(floor.may_print(NAMER));
}

#[test]
fn wear_limits_and_the_list_are_taken_in() {
    let mut floor = printing();
    let changed = plant_with(|plant| {
        plant.policy.wear = WearLimits { reorder: Share(10), stop: Share(9_900) };
        plant.stencils.extend([listed("NEW", true)]);
    });
    let told = floor.replan(by(changed, &[]));
    assert_eq!(told, ["configured", "wear-band-entered", "stencil-registered"]);
    assert!(floor.stencil("NEW").hold.is_none());
}

/// A stencil that came in by a list is in no configuration, and follows the policy all the same.
#[test]
fn limits_hold_for_stencils_of_no_configuration() {
    let entries = vec![Listed { starting_strokes: 700, ..listed("IMPORTED", true).1 }];
    let strict = plant_with(|plant| {
        plant.policy.wear = WearLimits { reorder: Share(5_000), stop: Share(9_900) };
    });
    for restarted in [false, true] {
        let mut floor = Floor::new();
        floor.does(&Request::TakeIn { entries: entries.clone() });
        assert_eq!(floor.stencil("IMPORTED").band.value, WearBand::InService);
        if restarted {
            floor.begin_again_with(strict.clone());
        } else {
            floor.replan(by(strict.clone(), &[]));
        }
        assert_eq!(floor.stencil("IMPORTED").band.value, WearBand::Reorder);
    }
}

#[test]
fn a_machine_that_is_taken_out_is_down_and_permits_nothing() {
    let mut floor = printing();
    let without = plant_with(|plant| drop(plant.machines.remove(&machine(NAMER))));
    assert_eq!(floor.replan(by(without, &[NAMER])), ["machine-down", "configured"]);
    assert!(!floor.may_print(NAMER));
    let LinkState::Down { why, .. } = &floor.machine(NAMER).link else { panic!("it is up") };
    assert_eq!(why, "taken out of the configuration");
    floor.says(RACK, take_asked("B", None));
    floor.says(NAMER_2, seated("A"));
    assert_eq!(floor.machine(NAMER).seat, None, "the stencil can turn up elsewhere");
}

#[test]
fn counting_goes_on_over_a_link_that_begins_anew() {
    let mut floor = printing();
    let faster = plant_with(|plant| {
        let spec = plant.machines.get_mut(&machine(NAMER)).expect("a printer");
        spec.fastest_cycle = std::time::Duration::from_secs(CYCLE - 1);
    });
    floor.replan(by(faster, &[NAMER]));
    floor.after(1).says(NAMER, link_up());
    floor.says(NAMER, seated("A"));
    floor.after(20).says(NAMER, reads(109));
    assert_eq!(floor.strokes("A"), 9);
    assert!(floor.may_print(NAMER));
}

/// A read that waits for the stencil's name is not forgotten with its link.
#[test]
fn what_waited_for_a_machine_that_goes_is_counted_before() {
    let mut floor = printing();
    floor.after(300).says(NAMER, link_up());
    assert_eq!(floor.says(NAMER, reads(107)), []);
    let without = plant_with(|plant| drop(plant.machines.remove(&machine(NAMER))));
    let told = floor.replan(by(without, &[NAMER]));
    assert_eq!(told, ["strokes-unattributed", "machine-down", "configured"]);
}

#[test]
fn the_digest_is_noted_once() {
    let read_from = |text: &str| plant_with(|plant| plant.digest = text.to_owned());
    let mut floor = Floor::of(read_from("one"));
    let noted = |floor: &Floor| {
        let events = floor.ledger.iter().map(|recorded| &recorded.fact.event);
        events.filter(|event| matches!(event, Event::Configured(_))).count()
    };
    assert_eq!(noted(&floor), 1);
    floor.start_again();
    assert_eq!(noted(&floor), 1, "a start with the same configuration");
    floor.replan(Replan { plant: read_from("one"), ..Replan::default() });
    assert_eq!(noted(&floor), 1, "a reload of the same configuration");
    floor.begin_again_with(read_from("two"));
    assert_eq!(noted(&floor), 2, "a start with another one");
    assert_eq!(floor.site.state().digest, "two");
}

#[test]
fn a_machine_that_is_back_goes_on_where_it_was() {
    let mut floor = printing();
    let without = plant_with(|plant| drop(plant.machines.remove(&machine(WASHER))));
    assert_eq!(floor.replan(by(without, &[])), ["configured"]);
    assert_eq!(floor.replan(by(plant(), &[])), ["configured"]);
    assert_eq!(names(&floor.says(WASHER, link_up())), ["machine-up"]);
}
