//! Whatever two machines kept while they could not be heard, and however it comes in: it adds up
//! to what it would have, had each message come at once.

mod common;

use std::time::Duration;

use common::floor::Floor;
use common::plant::{NAMER, WASHER, plant_with};
use common::words::{link_lost, link_resumed, machine, seated, strokes, wash_began, wash_ended};
use proptest::prelude::*;
use stencilward_domain::plant::Plant;
use stencilward_domain::signal::{MachineState, Said, WashOutcome};
use stencilward_domain::stencil::Cleanliness;

/// Events lie at least so far apart, s: more than is taken to be at once.
const APART: i64 = 90;

/// When the first of them happens, s.
const FIRST: i64 = 3_000;

const STENCILS: [&str; 3] = ["A", "B", "U"];

/// What is done next, as far as the world allows.
#[derive(Debug, Clone, Copy)]
enum Deed {
    Seat(usize),
    Print(u64),
    Remove,
    Wash(usize, WashOutcome),
}

/// A message: who says it, when it happened, s.
#[derive(Debug, Clone)]
struct Message {
    of: &'static str,
    then: i64,
    said: Said,
}

fn deed() -> impl Strategy<Value = Deed> {
    let outcome = prop_oneof![
        3 => Just(WashOutcome::Passed), 1 => Just(WashOutcome::Failed),
        1 => Just(WashOutcome::Aborted),
    ];
    prop_oneof![
        2 => (0..STENCILS.len()).prop_map(Deed::Seat),
        4 => (1..9u64).prop_map(Deed::Print),
        2 => Just(Deed::Remove),
        3 => ((0..STENCILS.len()), outcome).prop_map(|(which, how)| Deed::Wash(which, how)),
    ]
}

/// What happens: nothing prints without a stencil, and none is washed while it is in the printer.
fn happening(deeds: &[(Deed, i64)]) -> Vec<Message> {
    let mut messages = Vec::new();
    let (mut then, mut inside) = (FIRST, None);
    let mut tell = |of, then: i64, said| messages.push(Message { of, then, said });
    for (deed, more) in deeds {
        then += APART + more;
        match deed {
            Deed::Seat(which) if inside.is_none() => {
                inside = Some(*which);
                tell(NAMER, then, seated(STENCILS[*which]));
            }
            Deed::Print(count) if inside.is_some() => tell(NAMER, then, strokes(*count)),
            Deed::Remove if inside.is_some() => {
                inside = None;
                tell(NAMER, then, Said::Removed);
            }
            Deed::Wash(which, how) if inside != Some(*which) => {
                tell(WASHER, then, wash_began(Some(STENCILS[*which])));
                then += APART;
                tell(WASHER, then, wash_ended(Some(STENCILS[*which]), *how));
            }
            _ => {}
        }
    }
    messages
}

fn plant() -> Plant {
    plant_with(|plant| {
        plant.timed = [NAMER, WASHER].map(machine).into();
        plant.policy.print_needs_take = false;
        plant.policy.dry_out = Duration::from_secs(1_000_000);
    })
}

/// Both machines are heard for a while, so that their clocks are known. `off`: so much the
/// printer's clock is behind, s.
fn known(off: i64) -> Floor {
    let mut floor = Floor::of(plant());
    for (seconds, state) in [(10, MachineState::Idle), (200, MachineState::Running)] {
        for (of, off) in [(NAMER, off), (WASHER, 0)] {
            floor.at(seconds).says(of, link_resumed());
            floor.tells(of, seconds - off, Said::State { state, word: format!("{state:?}") });
        }
    }
    floor
}

/// What may not depend on when the messages come.
fn sums(floor: &Floor) -> Vec<(u64, u64, u64, Cleanliness)> {
    let sums = STENCILS.map(|name| {
        let known = floor.stencil(name);
        (known.strokes, known.strokes_since_wash, known.washes, known.cleanliness.value)
    });
    sums.to_vec()
}

fn told(floor: &mut Floor, message: &Message, off: i64) {
    if let Said::LinkUp { .. } | Said::LinkLost { .. } = message.said {
        floor.says(message.of, message.said.clone());
        return;
    }
    let off = if message.of == NAMER { off } else { 0 };
    floor.tells(message.of, message.then - off, message.said.clone());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1_500))]
    #[test]
    fn late_messages_add_up_to_what_they_would_have_in_time(
        deeds in prop::collection::vec((deed(), 0..600i64), 1..30),
        outages in prop::array::uniform2((0..12_000i64, 200..9_000i64)),
        washer_first in any::<bool>(), off in prop_oneof![Just(0i64), Just(3_600), Just(-7_200)],
        restart in prop::option::of(0..30usize),
    ) {
        let messages = happening(&deeds);
        let mut in_time = known(off);
        for message in &messages {
            told(in_time.at(message.then), message, off);
        }
        prop_assert!(in_time.ledger.iter().all(|recorded| recorded.fact.happened.is_none()));

        // When each message comes: after the outage of its machine, in its machine's order.
        let outage = |of| {
            let (from, lasts) = outages[usize::from(of == WASHER)];
            FIRST + from..FIRST + from + lasts
        };
        let rank = |of| usize::from((of == WASHER) != washer_first);
        let mut coming: Vec<(i64, usize, Message)> = Vec::new();
        for of in [NAMER, WASHER] {
            for (then, said) in [(outage(of).start, link_lost()), (outage(of).end, link_resumed())] {
                coming.push((then, rank(of), Message { of, then, said }));
            }
        }
        for message in &messages {
            let out = outage(message.of);
            let comes = if out.contains(&message.then) { out.end } else { message.then };
            coming.push((comes, rank(message.of), message.clone()));
        }
        coming.sort_by_key(|(comes, rank, _)| (*comes, *rank));
        let mut late = known(off);
        for (index, (comes, _, message)) in coming.iter().enumerate() {
            told(late.at(*comes), message, off);
            if restart == Some(index) {
                late.start_again();
                for of in [NAMER, WASHER] {
                    if !outage(of).contains(comes) {
                        late.says(of, link_resumed());
                    }
                }
            }
        }
        prop_assert_eq!(sums(&late), sums(&in_time), "{:#?}", coming);
        let replayed = late.replayed();
        prop_assert_eq!(replayed.state(), late.site.state());
    }
}
