//! A machine on trial: heard and shown, and nothing follows from it.

mod common;

use common::floor::{Floor, codes, names};
use common::moves::{Move, any_signal, moves};
use common::plant::{MUTE, NAMER, RACK, SCANNER, plant, plant_with};
use common::words::{
    at, code, link_lost, link_up, machine, reads, reads_at, seat, seated, strokes, take_asked,
};
use proptest::prelude::*;
use stencilward_domain::event::Event;
use stencilward_domain::names::MachineName;
use stencilward_domain::plant::Plant;
use stencilward_domain::signal::{Said, Signal, Width};
use stencilward_domain::site::{Replan, Reply, Site};
use stencilward_domain::state::State;

/// The plant with these machines on trial.
fn trying(on_trial: &[&str]) -> Plant {
    plant_with(|plant| plant.trial = on_trial.iter().map(|name| machine(name)).collect())
}

fn replan(floor: &mut Floor, plant: Plant, ended: &[&str]) -> Vec<String> {
    let ended = ended.iter().map(|name| machine(name)).collect();
    let changes = vec!["as the test has it".to_owned()];
    floor.replan(Replan { plant, changes, by: None, ended })
}

#[test]
fn nothing_but_the_link_is_noted() {
    let mut floor = Floor::of(trying(&[NAMER, RACK]));
    assert_eq!(names(&floor.says(NAMER, link_up())), ["machine-up"]);
    for said in [seated("A"), reads(100), reads(103), strokes(4), Said::Removed] {
        assert_eq!(floor.says(NAMER, said), []);
    }
    assert_eq!(names(&floor.says(NAMER, link_lost())), ["machine-down"]);
    let decision = floor.decides(RACK, take_asked("A", None));
    assert_eq!(codes(&decision), ["on-trial"]);
    assert!(!floor.door_open(RACK));
    assert_eq!(floor.against_printing(NAMER), ["on-trial", "nothing-seated"]);
    assert!(!floor.may_print(NAMER));
    let Reply::Refused(why) = floor.ask(&seat("A", NAMER)) else { panic!("it is seated") };
    assert!(why.starts_with("namer is on trial"), "{why}");
}

#[test]
fn the_last_word_of_each_thing_is_kept_and_how_often_it_came() {
    let mut floor = Floor::of(trying(&[NAMER]));
    for name in ["A", "A", "B"] {
        floor.after(1).says(NAMER, seated(name));
    }
    floor.says(NAMER, strokes(4));
    let trial = floor.site.trial(&machine(NAMER)).expect("it was heard");
    let heard = &trial.heard[&("stencil-seated", String::new())];
    assert_eq!((heard.count, heard.at, &heard.last), (3, at(3), &seated("B")));
    assert_eq!((trial.since, trial.reported), (at(1), 4));
}

#[test]
fn a_repeated_message_counts_once() {
    let mut floor = Floor::of(trying(&[NAMER]));
    for identity in ["1", "2", "1"] {
        floor.says_as(NAMER, Some(identity), strokes(4));
    }
    assert_eq!(floor.site.trial(&machine(NAMER)).expect("it was heard").reported, 8);
}

#[test]
fn no_more_is_kept_than_can_be_looked_at() {
    let mut floor = Floor::of(trying(&[NAMER]));
    for number in 0..600 {
        let (code, text) = (format!("E-{number}"), String::new());
        floor.says(NAMER, Said::FaultRaised { code, text });
    }
    floor.says(NAMER, Said::FaultRaised { code: "E-1".to_owned(), text: "again".to_owned() });
    let trial = floor.site.trial(&machine(NAMER)).expect("it was heard");
    assert_eq!((trial.heard.len(), trial.left_out), (500, 100));
    assert_eq!(trial.heard[&("fault-raised", "E-1".to_owned())].count, 2);
}

/// What the machine's counter did since a mark, beside so many strokes by hand.
fn verdict(values: &[u64], by_hand: u64) -> String {
    let mut floor = Floor::of(trying(&[NAMER]));
    let reads = |raw| reads_at(raw, Width::Bits32);
    floor.says(NAMER, reads(90));
    floor.after(60).says(NAMER, reads(values[0]));
    let name = machine(NAMER);
    let mark = floor.site.trial(&name).expect("it was heard").mark();
    for raw in &values[1..] {
        floor.after(30).says(NAMER, reads(*raw));
    }
    let trial = floor.site.trial(&name).expect("it was heard");
    let compared = trial.compare(by_hand, Some(&mark)).expect("it counts");
    assert_eq!(compared.len(), 1);
    compared[0].words.clone()
}

#[test]
fn a_count_by_hand_is_compared_in_words() {
    let starts = |words: &str, with: &str| assert!(words.contains(with), "{words}");
    assert_eq!(verdict(&[100, 103, 105], 5), "5 by hand, 5 by the machine: they agree");
    starts(&verdict(&[100, 100], 5), "5 by hand, 0 by the machine: its value has not moved");
    starts(&verdict(&[100, 104, 106], 3), "twice as many");
    starts(&verdict(&[100, 103], 6), "half as many");
    starts(&verdict(&[100, 104, 106], 5), "one apart");
    starts(&verdict(&[100, 104, 107], 12), "5 fewer");
    starts(&verdict(&[100, 65_636, 131_172], 2), "the words stand in the other order");
    starts(&verdict(&[100, 9_000, 12], 2), "2 reads jumped further than the printer can work");
}

#[test]
fn a_mark_of_another_trial_is_refused() {
    let mut floor = Floor::of(trying(&[NAMER]));
    floor.says(NAMER, reads(90));
    let name = machine(NAMER);
    let mark = floor.site.trial(&name).expect("it was heard").mark();
    replan(&mut floor, trying(&[NAMER]), &[NAMER]);
    assert_eq!(floor.site.trial(&name), None, "its wiring changed: it is tried out anew");
    floor.after(5).says(NAMER, reads(90));
    let trial = floor.site.trial(&name).expect("it was heard");
    assert!(trial.compare(0, Some(&mark)).is_err());
    assert!(trial.compare(0, None).is_ok());
}

#[test]
fn a_machine_goes_live_from_its_next_read() {
    let mut floor = Floor::of(trying(&[NAMER]));
    floor.says(NAMER, link_up());
    floor.says(NAMER, seated("A"));
    floor.says(NAMER, reads(100));
    let told = replan(&mut floor, plant(), &[NAMER]);
    assert_eq!(told, ["machine-down", "configured", "decided"]);
    floor.says(NAMER, link_up());
    floor.says(NAMER, seated("A"));
    floor.after(60).says(NAMER, reads(108));
    floor.after(60).says(NAMER, reads(111));
    assert_eq!(floor.strokes("A"), 3);
}

/// Live, then on trial with another stencil, then live again: what it did meanwhile is nobody's.
#[test]
fn what_it_did_on_trial_is_not_booked_after_a_live_time_either() {
    for restarted in [false, true] {
        let mut floor = Floor::new();
        floor.stock("A", "1");
        floor.says(NAMER, link_up());
        floor.bring("A", NAMER);
        floor.says(NAMER, reads(100));
        floor.after(60).says(NAMER, reads(104));
        replan(&mut floor, trying(&[NAMER]), &[NAMER]);
        floor.says(NAMER, link_up());
        floor.after(60).says(NAMER, reads(109));
        if restarted {
            floor.begin_again_with(plant());
        } else {
            replan(&mut floor, plant(), &[NAMER]);
        }
        floor.says(NAMER, Said::LinkUp { resumed: true });
        assert!(floor.against_printing(NAMER).contains(&"seat-unconfirmed"), "{restarted}");
        floor.says(NAMER, seated("A"));
        floor.after(60).says(NAMER, reads(112));
        floor.after(60).says(NAMER, reads(113));
        assert_eq!(floor.strokes("A"), 5, "{restarted}");
        assert_eq!(floor.machine(NAMER).unattributed, 0, "{restarted}");
    }
}

#[test]
fn what_others_tell_of_a_printer_on_trial_is_tried_out_too() {
    let mut plant = trying(&[MUTE]);
    let module = plant.machines.get_mut(&machine(SCANNER)).expect("a machine");
    module.counts_for = Some(machine(MUTE));
    let mut floor = Floor::of(plant);
    assert_eq!(floor.says(SCANNER, reads(10)), []);
    assert_eq!(floor.after(60).says(SCANNER, reads(14)), []);
    let trial = floor.site.trial(&machine(MUTE)).expect("it was told of");
    assert_eq!(trial.counters["scanner/total"].counted, 4);
}

/// The state without what a link's coming and going changes, and without the places of events.
fn but_the_link(state: &State, tried: &MachineName) -> State {
    let mut state = state.clone();
    (state.head, state.latest) = (Default::default(), Default::default());
    if let Some(machine) = state.machines.get_mut(tried) {
        machine.link = Default::default();
        machine.run.not_heard = false;
        machine.seen = Default::default();
    }
    state
}

fn is_of_link(said: &Said) -> bool {
    matches!(said, Said::LinkUp { .. } | Said::LinkLost { .. })
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(300))]

    /// Whatever a machine on trial says after whatever happened on the floor.
    #[test]
    fn any_signals_leave_everything_as_it_was_but_its_own_link(
        before in prop::collection::vec(moves(), 0..40),
        said in prop::collection::vec(any_signal(), 1..40),
    ) {
        for name in [NAMER, RACK, MUTE] {
            let mut floor = Floor::of(trying(&[name]));
            floor.says(name, link_up());
            before.iter().for_each(|one| one.happens(&mut floor));
            floor.tick();
            let tried = machine(name);
            let was = but_the_link(floor.site.state(), &tried);
            for signal in &said {
                let signal = Signal { machine: tried.clone(), ..signal.clone() };
                let decision = floor.site.hear(&signal);
                prop_assert!(decision.is_none_or(|decision| !decision.permitted()));
            }
            prop_assert_eq!(but_the_link(floor.site.state(), &tried), was);
        }
    }

    /// What happens elsewhere happens as it would if the machine on trial said nothing. Its link
    /// comes and goes all the same: that is an event, and by its last event a gateway that starts
    /// again knows how long it was away.
    #[test]
    fn the_others_work_as_if_it_were_not_there(moves in prop::collection::vec(moves(), 1..60)) {
        let (mut with, mut without) = (Floor::of(trying(&[NAMER])), Floor::of(trying(&[NAMER])));
        for one in &moves {
            one.happens(&mut with);
            if !matches!(one, Move::Says(NAMER, _, said) if !is_of_link(said)) {
                one.happens(&mut without);
            }
        }
        let links = |event: &Event| matches!(event, Event::MachineUp { machine } | Event::MachineDown { machine, .. } if machine.as_str() == NAMER);
        let told = |floor: &Floor| -> Vec<String> {
            let events: Vec<Event> = floor.ledger.iter().map(|r| r.fact.event.clone()).collect();
            names(&events.into_iter().filter(|event| !links(event)).collect::<Vec<_>>())
        };
        prop_assert_eq!(told(&with), told(&without));
        let stencils = |floor: &Floor| {
            let all = floor.site.state().stencils.values();
            all.map(|s| (s.strokes, s.washes, s.place.value.clone(), s.cleanliness.value)).collect::<Vec<_>>()
        };
        prop_assert_eq!(stencils(&with), stencils(&without));
    }
}

#[test]
fn a_ledger_gives_the_same_state_through_trials() {
    let mut floor = Floor::of(trying(&[NAMER]));
    floor.says(NAMER, link_up());
    replan(&mut floor, plant(), &[NAMER]);
    floor.says(NAMER, link_up());
    floor.says(NAMER, reads(100));
    replan(&mut floor, trying(&[NAMER]), &[NAMER]);
    let mut site = Site::new(plant());
    floor.ledger.iter().for_each(|recorded| site.replay(recorded));
    assert_eq!(site.state(), floor.site.state());
    assert!(site.state().stencils.contains_key(&code("A")));
}
