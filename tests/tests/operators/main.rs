//! Twenty operators scan the same hundred stencils at random: nobody's change is lost, nothing is
//! permitted twice, and for each stencil there is an order that explains every answer.
//!
//! How long is `STENCILWARD_OPERATORS`, in seconds; 12 unless set.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a helper that cannot go on fails the test")]

mod checker;
mod first;
mod ledger;
mod model;
mod operator;
mod works;

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;

use checker::{Done, linearizable};
use model::{Act, Place, Stencil};
use operator::Operator;
use stencilward_tests::seed::Chance;
use works::{STENCILS, Works};

const OPERATORS: u64 = 20;

fn time() -> Duration {
    let set = std::env::var("STENCILWARD_OPERATORS").ok();
    Duration::from_secs(set.and_then(|seconds| seconds.parse().ok()).unwrap_or(12))
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn twenty_operators_at_a_hundred_stencils() {
    let mut chance = Chance::seeded();
    let works = Arc::new(Works::start().await);
    let until = tokio::time::Instant::now() + time();
    let mut people = Vec::new();
    for number in 0..OPERATORS {
        let own = Chance::from(chance.below(u64::MAX));
        let operator = Operator::new(number, own, Arc::clone(&works));
        people.push(tokio::spawn(operator.work(until)));
    }
    let mut done: Vec<Done> = Vec::new();
    for one in people {
        done.extend(one.await.unwrap());
    }
    let works = Arc::into_inner(works).unwrap();
    let recorded = works.stop().await;

    let reasons = ledger::each_answer_has_its_events(&mut done, &recorded);
    ledger::no_slot_is_promised_twice(&recorded);
    ledger::no_stencil_is_promised_to_two(&recorded);
    let acts: BTreeMap<&str, usize> = done.iter().fold(BTreeMap::new(), |mut acts, done| {
        *acts.entry(done.act.name()).or_default() += 1;
        acts
    });
    println!("{} answers: {acts:?}; refused for {reasons:?}", done.len());
    for needed in ["slot-promised", "slot-taken", "promised", "on-hold", "unwashed", "elsewhere"] {
        assert!(reasons.contains_key(needed), "nobody was refused for {needed}: {reasons:?}");
    }
    for number in 0..STENCILS {
        if let Err(why) = linearizable(begin(number), &with_pushes(number, &done)) {
            panic!("{}: {why}", works::code(number));
        }
    }
}

/// Every other stencil lies in a slot as the day begins.
fn begin(number: u64) -> Stencil {
    Stencil::at(works::first_slot(number).map_or(Place::Hand, Place::Slot))
}

/// What was done with one stencil, and what others did to it: one that is seated where it was
/// pushes it out.
fn with_pushes(number: u64, done: &[Done]) -> Vec<Done> {
    let mut own: Vec<Done> = done.iter().filter(|d| d.stencil == number).cloned().collect();
    let mut pushes = Vec::new();
    for seat in own.iter().filter(|d| matches!(d.act, Act::Seat(_))) {
        let Act::Seat(printer) = seat.act else { continue };
        let others = done
            .iter()
            .filter(|d| d.stencil != number && d.act == Act::Seat(printer))
            .filter(|d| d.ended.is_none_or(|ended| ended >= seat.begun));
        // Once one began after this one had ended, whatever came later found it gone.
        let after = |d: &&Done| seat.ended.is_some_and(|ended| d.begun > ended);
        let first = others.clone().filter(after).filter_map(|d| d.ended).min();
        pushes.extend(
            others.filter(|d| first.is_none_or(|first| d.begun <= first)).map(|d| Done {
                stencil: number,
                act: Act::PushedOut(printer),
                ..d.clone()
            }),
        );
    }
    pushes.sort_by_key(|push| (push.begun, push.by));
    pushes.dedup_by_key(|push| (push.begun, push.by));
    own.extend(pushes);
    own.sort_by_key(|done| done.begun);
    own
}
