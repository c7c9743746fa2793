//! What holds whatever machines and people say, in whatever order.

mod common;

use common::floor::{Floor, begun};
use common::moves::{Move, any_signal, extreme, moves, requests};
use common::oracle::Oracle;
use common::plant::{CLEAN, MUTE, MUTE_2, NAMER, NAMER_2, plant, plant_with};
use common::words::{at, code, machine};
use proptest::prelude::*;
use stencilward_domain::event::Recorded;
use stencilward_domain::plant::Plant;
use stencilward_domain::signal::Signal;
use stencilward_domain::site::{Request, Site};
use stencilward_domain::state::State;
use stencilward_domain::time::Timestamp;

const PRINTERS: [&str; 4] = [NAMER, NAMER_2, MUTE, MUTE_2];

/// Stencils near their ends, so that random strokes reach them.
fn worn_plant() -> Plant {
    plant_with(|plant| {
        plant.policy.hand_reported_wash = true;
        for (name, strokes) in [("A", 985), ("B", 795)] {
            if let Some(entry) = plant.stencils.get_mut(&code(name)) {
                entry.starting_strokes = strokes;
            }
        }
    })
}

fn after(moves: &[Move]) -> Floor {
    let mut floor = Floor::of(worn_plant());
    for one in moves {
        one.happens(&mut floor);
    }
    floor
}

fn replayed<'a>(ledger: impl IntoIterator<Item = &'a Recorded>) -> State {
    let mut site = Site::new(worn_plant());
    for recorded in ledger {
        site.replay(recorded);
    }
    site.state().clone()
}

fn through_json(ledger: &[Recorded]) -> Vec<Recorded> {
    let again = |recorded| {
        let line = serde_json::to_string(recorded).expect("becomes JSON");
        serde_json::from_str(&line).expect("can be read back")
    };
    ledger.iter().map(again).collect()
}

fn positions_follow(ledger: &[Recorded]) -> bool {
    ledger.iter().zip(1..).all(|(recorded, place)| recorded.position.0 == place)
}

/// Every number that may grow and never fall.
fn counts(floor: &Floor) -> Vec<u64> {
    let state = floor.site.state();
    let of_machines = PRINTERS.map(|name| {
        let known = state.machines.get(&machine(name));
        known.map_or([0, 0], |known| [known.booked, known.unattributed])
    });
    let of_stencils = CLEAN.map(|name| {
        let stencil = floor.stencil(name);
        [stencil.strokes, stencil.washes, (stencil.life_ratio() * 1e6) as u64]
    });
    of_machines.into_iter().flatten().chain(of_stencils.into_iter().flatten()).collect()
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(400))]

    #[test]
    fn replaying_the_ledger_gives_the_same_state(moves in prop::collection::vec(moves(), 1..80)) {
        let floor = after(&moves);
        prop_assert_eq!(&replayed(&floor.ledger), floor.site.state());
        let read_back = through_json(&floor.ledger);
        prop_assert_eq!(&read_back, &floor.ledger);
        prop_assert!(positions_follow(&floor.ledger));
    }

    #[test]
    fn a_state_kept_on_the_way_and_what_came_after_give_the_same_state(
        moves in prop::collection::vec(moves(), 1..80),
        place in any::<prop::sample::Index>(),
    ) {
        let floor = after(&moves);
        let begun = begun(worn_plant(), &floor.ledger, place.index(floor.ledger.len() + 1));
        prop_assert_eq!(begun.state(), floor.site.state());
    }

    #[test]
    fn nothing_is_permitted_that_must_not_be(moves in prop::collection::vec(moves(), 1..80)) {
        let mut floor = Floor::of(worn_plant());
        let (mut oracle, mut judged) = (Oracle::default(), 0);
        for one in &moves {
            one.happens(&mut floor);
            for recorded in floor.ledger.iter().skip(judged) {
                oracle.judge(recorded).map_err(TestCaseError::fail)?;
            }
            judged = floor.ledger.len();
            for printer in PRINTERS {
                let decision = floor.site.print_decision(&machine(printer), floor.now);
                let seated = decision.stencil.clone();
                let usable = seated.is_some_and(|code| oracle.is_usable(&code, floor.now));
                prop_assert!(usable || !decision.permitted(), "{}", decision);
            }
        }
        floor.tick();
        for printer in PRINTERS {
            let decision = floor.site.print_decision(&machine(printer), floor.now);
            prop_assert_eq!(floor.may_print(printer), decision.permitted());
        }
    }

    /// What is told and what the outputs show is never behind what would be decided now, as long
    /// as no time passes.
    #[test]
    fn outputs_follow_at_once(moves in prop::collection::vec(moves(), 1..80)) {
        let mut floor = Floor::of(worn_plant());
        for one in &moves {
            one.happens(&mut floor);
            if matches!(one, Move::Waits(_)) {
                floor.tick();
            }
            for printer in PRINTERS {
                let decision = floor.site.print_decision(&machine(printer), floor.now);
                prop_assert_eq!(floor.may_print(printer), decision.permitted(), "{:?}", one);
            }
        }
    }

    #[test]
    fn counts_never_fall(moves in prop::collection::vec(moves(), 1..80)) {
        let mut floor = Floor::of(worn_plant());
        let mut before = counts(&floor);
        for one in &moves {
            one.happens(&mut floor);
            let now = counts(&floor);
            prop_assert!(before.iter().zip(&now).all(|(b, n)| b <= n), "{:?} after {:?}", one, before);
            before = now;
        }
    }

    #[test]
    fn no_number_and_no_time_stops_it(
        words in prop::collection::vec((any_signal(), any::<bool>(), any::<bool>()), 1..40),
        asked in prop::collection::vec((requests(extreme()), any::<i64>()), 0..10),
    ) {
        let ledger = hears_rubbish(&words, &asked);
        prop_assert!(positions_follow(&ledger));
        prop_assert_eq!(through_json(&ledger), ledger);
    }
}

fn hears_rubbish(words: &[(Signal, bool, bool)], asked: &[(Request, i64)]) -> Vec<Recorded> {
    let mut site = Site::new(plant());
    site.start("0.0.0", at(0));
    let mut ledger = site.take_fresh();
    let mut requests = asked.iter().cycle().take(asked.len() * words.len());
    for (signal, tick, restart) in words {
        let _ = site.hear(signal);
        if *tick {
            site.tick(signal.received);
        }
        let _ = site.wanted(signal.received);
        if let Some((request, now)) = requests.next() {
            let _ = site.ask(request, Timestamp(*now));
        }
        ledger.extend(site.take_fresh());
        if *restart {
            let before = site.state().clone();
            site = Site::new(plant());
            for recorded in &ledger {
                site.replay(recorded);
            }
            assert_eq!(site.state(), &before);
            site.start("0.0.0", signal.received);
            ledger.extend(site.take_fresh());
        }
    }
    ledger
}
