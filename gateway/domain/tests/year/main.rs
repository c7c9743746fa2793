//! A year of a plant with 40 lines and 2,000 stencils, with every fault that counters, links,
//! gateways and people can have, from a seed. Every stroke that a machine told of is booked once
//! or visibly nobody's; what a restart lost is within a finding's bound.
//!
//! The floor keeps its own tally: who made each stroke, up to where each machine has told of them,
//! and what it can never tell. After each signal the events are held against it (`tally.rs`), at
//! the end the sums, the raw values and the replay (`audit.rs`). `STENCILWARD_SEED=n` runs one year
//! again, `STENCILWARD_SEEDS=n` so many from there.
//!
//! What nobody could know is kept apart:
//!
//! * strokes counted after the last read and lost in a restart: the site must have a finding whose
//!   bound covers them (`Told::lost`);
//! * strokes of a stencil that came and went unseen, or whose scan was forgotten: they may be
//!   booked to the one that anybody must think is seated, until a person corrects it
//!   (`Line::taken_for`);
//! * strokes that nobody made: those of a jump to another counter's first value, and those before
//!   a restart that may as well have been a wrap. They stay open, to the number, until written off
//!   (`Told::fake`).
//!
//! And what shows in nothing is kept out: a restart that the counter has outrun by its next read,
//! a restart or misread that honest counting explains as well (`troubles.rs`), a frozen counter
//! that wraps, a clock put back while a total wraps or a link is down, and a change of stencil
//! within a break that the policy trusts: changing takes longer.

#![allow(clippy::unwrap_used, clippy::panic)]

mod acts;
mod audit;
mod faults;
mod floor;
mod gateway;
mod line;
mod luck;
mod makes;
mod orders;
mod people;
mod script;
mod tally;
mod troubles;
mod world;

use std::env;
use std::sync::atomic::{AtomicU64, Ordering};
use std::thread;

use faults::{Fault, Faults};
use floor::{Floor, LINES, STENCILS};
use world::{Sabotage, World};

const DAYS: i64 = 365;
const SEEDS: u64 = 200;
const THREADS: usize = 2;

fn number(variable: &str) -> Option<u64> {
    env::var(variable).ok()?.parse().ok()
}

/// What happened in some years.
#[derive(Default)]
struct Sum {
    faults: Faults,
    signals: usize,
    events: usize,
}

impl Sum {
    fn add(&mut self, other: &Self) {
        self.faults.add(&other.faults);
        self.signals += other.signals;
        self.events += other.events;
    }
}

/// One year.
///
/// # Errors
/// What does not add up, with the story of the line.
fn year(seed: u64, floor: &Floor, sabotage: Sabotage) -> Result<Sum, String> {
    let mut world = World::new(seed, floor, sabotage);
    let outcome = world.year(DAYS).and_then(|()| world.audit());
    match outcome {
        Ok(()) => {
            let (signals, events) = (world.signals, world.ledger.len());
            Ok(Sum { faults: world.faults, signals, events })
        }
        Err(why) => Err(format!("STENCILWARD_SEED={seed}: {why}\n{}", world.story(&why))),
    }
}

/// So many years, on two threads.
///
/// # Errors
/// The first that does not add up.
fn years(first: u64, count: u64) -> Result<Sum, String> {
    let floor = Floor::new();
    let next = AtomicU64::new(first);
    let work = || -> Result<Sum, String> {
        let mut sum = Sum::default();
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed >= first + count {
                return Ok(sum);
            }
            let year = year(seed, &floor, Sabotage::None);
            sum.add(&year.inspect_err(|_| next.store(first + count, Ordering::Relaxed))?);
        }
    };
    thread::scope(|scope| {
        let threads: Vec<_> = (0..THREADS).map(|_| scope.spawn(work)).collect();
        let mut sum = Sum::default();
        for thread in threads {
            sum.add(&thread.join().unwrap()?);
        }
        Ok(sum)
    })
}

#[test]
fn every_stroke_of_a_year_is_booked_once_or_visibly_nobodys() {
    let (one, many) = (number("STENCILWARD_SEED"), number("STENCILWARD_SEEDS"));
    let few = one.is_some() || many.is_some();
    let (first, count) = (one.unwrap_or(0), many.unwrap_or(if few { 1 } else { SEEDS }));
    let sum = years(first, count).unwrap_or_else(|why| panic!("{why}"));
    println!("{count} years of {LINES} lines and {STENCILS} stencils:");
    println!("{} signals and {} events; of faults and second thoughts", sum.signals, sum.events);
    for fault in Fault::ALL {
        println!("{:>8} {fault:?}", sum.faults.of(*fault));
        assert!(few || sum.faults.of(*fault) > 0, "{fault:?} never happened");
    }
}

/// What a broken run is found by.
fn found(sabotage: Sabotage) -> String {
    let floor = Floor::new();
    match year(1, &floor, sabotage) {
        Err(why) => why.lines().next().unwrap_or_default().to_owned(),
        Ok(_) => panic!("{sabotage:?} is not found"),
    }
}

#[test]
fn a_repeat_without_its_identity_is_found() {
    let why = found(Sabotage::NoIdentities);
    assert!(why.contains("more; 0 are told"), "{why}");
}

#[test]
fn a_stroke_that_is_not_accounted_for_is_found() {
    let why = found(Sabotage::OneMore);
    assert!(why.contains("are accounted for"), "{why}");
}
