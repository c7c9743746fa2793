//! Standing: every state and everything people can ask for.

mod common;

use Standing::{Concession, OnHold, Released, Retired};
use common::floor::Floor;
use common::plant::NAMER;
use common::words::{at, grant, hold, release, retire, strokes, withdraw};
use stencilward_domain::site::{Reply, Request};
use stencilward_domain::stencil::Standing;

/// A concession's strokes in these tests.
const ALLOWED: u64 = 10;

/// Every state of hold, concession and retirement.
#[derive(Debug, Clone, Copy, PartialEq)]
enum State {
    Free,
    Held,
    Granted,
    HeldGranted,
    UsedUp,
    Expired,
    Gone,
}

const STATES: [State; 7] = [
    State::Free,
    State::Held,
    State::Granted,
    State::HeldGranted,
    State::UsedUp,
    State::Expired,
    State::Gone,
];

/// A worn stencil in a printer, in this state, an hour after the start.
fn worn(state: State) -> Floor {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says(NAMER, strokes(990));
    let until = (state == State::Expired).then(|| at(1_800));
    match state {
        State::Free => {}
        State::Held => floor.does(&hold("A")),
        State::Granted | State::Expired => floor.does(&grant("A", ALLOWED, until)),
        State::HeldGranted => {
            floor.does(&grant("A", ALLOWED, None));
            floor.does(&hold("A"));
        }
        State::UsedUp => {
            floor.does(&grant("A", ALLOWED, None));
            floor.says(NAMER, strokes(ALLOWED));
        }
        State::Gone => floor.does(&retire("A")),
    }
    floor.at(3_600).tick();
    floor
}

fn standing(floor: &Floor) -> Standing {
    floor.stencil("A").standing(floor.now)
}

#[test]
fn each_state_has_its_standing_and_its_reasons() {
    let table: [(State, Standing, &[&str]); 7] = [
        (State::Free, Released, &["worn-out"]),
        (State::Held, OnHold, &["on-hold", "worn-out"]),
        (State::Granted, Concession, &[]),
        (State::HeldGranted, OnHold, &["on-hold"]),
        (State::UsedUp, Released, &["concession-used-up"]),
        (State::Expired, Released, &["worn-out"]),
        (State::Gone, Retired, &["retired", "worn-out"]),
    ];
    for (state, expected, against) in table {
        let floor = worn(state);
        assert_eq!(standing(&floor), expected, "{state:?}");
        assert_eq!(floor.against_printing(NAMER), against, "{state:?}");
        assert_eq!(floor.may_print(NAMER), against.is_empty(), "{state:?}");
    }
}

/// For each state: the standing after a hold, a release, a grant, a withdrawal, a retirement; none
/// where that is refused.
type Row = (State, [Option<Standing>; 5]);

const TABLE: [Row; 7] = [
    (State::Free, [Some(OnHold), None, Some(Concession), None, Some(Retired)]),
    (State::Held, [None, Some(Released), Some(OnHold), None, Some(Retired)]),
    (State::Granted, [Some(OnHold), None, Some(Concession), Some(Released), Some(Retired)]),
    (State::HeldGranted, [None, Some(Concession), Some(OnHold), Some(OnHold), Some(Retired)]),
    (State::UsedUp, [Some(OnHold), None, Some(Concession), Some(Released), Some(Retired)]),
    (State::Expired, [Some(OnHold), None, Some(Concession), Some(Released), Some(Retired)]),
    (State::Gone, [Some(Retired), None, None, None, None]),
];

#[test]
fn the_full_table() {
    let inputs: [Request; 5] =
        [hold("A"), release("A"), grant("A", ALLOWED, None), withdraw("A"), retire("A")];
    for (state, row) in TABLE {
        for (input, expected) in inputs.iter().zip(row) {
            answers(state, input, expected);
        }
    }
}

fn answers(state: State, input: &Request, expected: Option<Standing>) {
    let mut floor = worn(state);
    let (before, events) = (standing(&floor), floor.ledger.len());
    match (floor.ask(input), expected) {
        (Reply::Done(position), Some(expected)) => {
            assert_eq!(standing(&floor), expected, "{state:?}, then {input:?}");
            assert_eq!(position, floor.site.state().head);
        }
        (Reply::Refused(why), None) => {
            assert!(why.starts_with("A "), "says of what: {why}");
            assert_eq!(standing(&floor), before, "{state:?}, then {input:?}");
            assert_eq!(floor.ledger.len(), events, "a refusal changes nothing");
        }
        (reply, _) => unreachable!("{state:?}, then {input:?}: {reply:?}"),
    }
}

#[test]
fn nothing_can_be_asked_of_a_stencil_that_is_not_in_the_list() {
    let mut floor = Floor::new();
    for request in [hold("X"), release("X"), grant("X", 1, None), withdraw("X"), retire("X")] {
        let reply = floor.ask(&request);
        assert!(
            matches!(reply, Reply::Refused(why) if why.contains("no stencil X")),
            "{request:?}"
        );
    }
}

#[test]
fn an_empty_or_past_concession_is_refused() {
    let mut floor = Floor::new();
    floor.at(100);
    assert!(matches!(floor.ask(&grant("A", 0, None)), Reply::Refused(_)));
    assert!(matches!(floor.ask(&grant("A", 1, Some(at(100)))), Reply::Refused(_)));
    assert!(matches!(floor.ask(&grant("A", 1, Some(at(101)))), Reply::Done(_)));
}

#[test]
fn a_concession_is_used_by_strokes_of_a_stopped_stencil_only() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.does(&grant("A", ALLOWED, None));
    floor.says(NAMER, strokes(990));
    let used = |floor: &Floor| floor.stencil("A").concession.as_ref().map(|c| c.value.used);
    assert_eq!(used(&floor), Some(0));
    floor.says(NAMER, strokes(9));
    assert_eq!((used(&floor), floor.may_print(NAMER)), (Some(9), true));
    floor.says(NAMER, strokes(1));
    assert_eq!((used(&floor), floor.may_print(NAMER)), (Some(10), false));
}

#[test]
fn a_new_grant_starts_anew() {
    let mut floor = worn(State::UsedUp);
    floor.does(&grant("A", 3, None));
    assert!(floor.may_print(NAMER));
    floor.says(NAMER, strokes(3));
    assert_eq!(floor.against_printing(NAMER), ["concession-used-up"]);
}

#[test]
fn a_concession_ends_at_its_hour() {
    let mut floor = Floor::new();
    floor.bring("A", NAMER);
    floor.says(NAMER, strokes(990));
    floor.does(&grant("A", ALLOWED, Some(at(60))));
    floor.at(59).tick();
    assert!(floor.may_print(NAMER));
    floor.at(60).tick();
    assert!(!floor.may_print(NAMER));
}

#[test]
fn a_hold_says_who_and_why() {
    let floor = worn(State::Held);
    let decision = floor.site.print_decision(&common::words::machine(NAMER), floor.now);
    let sentence = decision.to_string();
    assert!(sentence.contains("M. Example") && sentence.contains("an invented reason"));
}

#[test]
fn every_state_survives_a_restart() {
    for state in STATES {
        let mut floor = worn(state);
        let before = floor.site.state().stencils.clone();
        floor.restart_after(5);
        assert_eq!(floor.site.state().stencils, before, "{state:?}");
    }
}
