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
    holds("storing", STORAGE, 5, 1);
}

#[test]
fn printing() {
    holds("printing", PRINTING, 6, 1);
}

#[test]
fn counting() {
    holds("counting", COUNTING, 6, 1);
}

#[test]
fn everything() {
    holds("everything", EVERYTHING, 4, 1);
}
