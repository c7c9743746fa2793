//! Exhaustive search of what can happen in the smallest plant: no reachable state, up to a stated
//! depth, in which an unwashed or unknown stencil is stored with permission, a stopped one prints
//! without a concession in force, an output permits what its decision refuses, a stroke is booked
//! twice, or the ledger replayed gives another state. Broken rules are found.
//!
//! The search is our own: it needs a canonical key of the site, the shortest way to a fault and
//! two threads, some hundred lines; a model checker's library would bring a web server with it.

#![allow(clippy::unwrap_used, clippy::panic)]

mod floor;
mod key;
mod moves;
mod mutants;
mod node;
mod search;
mod truth;

use std::env;
use std::time::Instant;

use moves::{COUNTING, EVERYTHING, Move, PRINTING, STORAGE};
use node::Checked;
use search::search;
use stencilward_domain::rules::Rules;

fn honest() -> Checked {
    Checked { rules: Rules::default(), identities: true }
}

/// `STENCILWARD_MODEL_DEPTH` steps deeper than in the normal run.
fn deeper() -> usize {
    env::var("STENCILWARD_MODEL_DEPTH").ok().and_then(|more| more.parse().ok()).unwrap_or(0)
}

fn holds(name: &str, moves: &[Move], depth: usize, states: usize) {
    let begun = Instant::now();
    match search(honest(), moves, depth + deeper()) {
        Ok(reached) => {
            println!("{name}: {} moves, {reached:?}, {:?}", moves.len(), begun.elapsed());
            assert!(reached.states >= states, "{reached:?} is less than it was");
        }
        Err(broken) => panic!("{name}: {} after {:?}", broken.why, broken.moves),
    }
}

#[test]
fn storing() {
    holds("storing", STORAGE, 5, 80_000);
}

#[test]
fn printing() {
    holds("printing", PRINTING, 6, 200_000);
}

#[test]
fn counting() {
    holds("counting", COUNTING, 5, 50_000);
}

#[test]
fn everything() {
    holds("everything", EVERYTHING, 4, 200_000);
}

/// A broken rule is found, by the shortest way, within so many moves.
fn is_found(name: &str, checked: Checked, moves: &[Move], depth: usize) {
    match search(checked, moves, depth) {
        Err(broken) => {
            println!("{name}: {} after {:?}", broken.why, broken.moves);
            assert_eq!(broken.moves.len(), depth, "{name}");
        }
        Ok(reached) => panic!("{name} is not found: {reached:?}"),
    }
}

#[test]
fn broken_rules_are_found() {
    is_found("store permits the unwashed", mutants::store_permits_the_unwashed(), STORAGE, 4);
    is_found("store permits the unknown", mutants::store_permits_the_unknown(), STORAGE, 1);
    is_found("store permits during a wash", mutants::store_permits_during_a_wash(), STORAGE, 2);
    is_found("print ignores wear", mutants::print_ignores_wear(), PRINTING, 2);
    let ended = mutants::print_ignores_the_end_of_a_concession();
    is_found("print ignores the end of a concession", ended, PRINTING, 4);
    let used_up = mutants::print_ignores_that_a_concession_is_used_up();
    is_found("print ignores that a concession is used up", used_up, PRINTING, 4);
    is_found("print ignores a hold", mutants::print_ignores_a_hold(), PRINTING, 2);
}

#[test]
fn a_stroke_booked_twice_is_found() {
    let checked = mutants::messages_lose_their_identity();
    is_found("messages lose their identity", checked, COUNTING, 2);
}
