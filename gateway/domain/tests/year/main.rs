//! A year of a plant with 40 lines and 2,000 stencils, with every fault that counters, links,
//! gateways and people can have, from a seed. Every stroke that a machine told of is booked once
//! or visibly nobody's; what a restart lost is within a finding's bound.

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

/// One year.
///
/// # Errors
/// What does not add up, with the story of the line.
fn year(seed: u64, floor: &Floor, sabotage: Sabotage) -> Result<(Faults, usize), String> {
    let mut world = World::new(seed, floor, sabotage);
    let outcome = world.year(DAYS).and_then(|()| world.audit());
    match outcome {
        Ok(()) => Ok((world.faults, world.ledger.len())),
        Err(why) => Err(format!("STENCILWARD_SEED={seed}: {why}\n{}", world.story(&why))),
    }
}

/// So many years, on two threads.
///
/// # Errors
/// The first that does not add up.
fn years(first: u64, count: u64) -> Result<(Faults, usize), String> {
    let floor = Floor::new();
    let next = AtomicU64::new(first);
    let work = || {
        let mut sum = (Faults::default(), 0);
        loop {
            let seed = next.fetch_add(1, Ordering::Relaxed);
            if seed >= first + count {
                return Ok(sum);
            }
            match year(seed, &floor, Sabotage::None) {
                Ok((faults, events)) => {
                    sum.0.add(&faults);
                    sum.1 += events;
                }
                Err(why) => {
                    next.store(u64::MAX / 2, Ordering::Relaxed);
                    return Err(why);
                }
            }
        }
    };
    thread::scope(|scope| {
        let threads: Vec<_> = (0..THREADS).map(|_| scope.spawn(work)).collect();
        let mut sum = (Faults::default(), 0);
        for thread in threads {
            let (faults, events) = thread.join().unwrap()?;
            sum.0.add(&faults);
            sum.1 += events;
        }
        Ok(sum)
    })
}

#[test]
fn every_stroke_of_a_year_is_booked_once_or_visibly_nobodys() {
    let one = number("STENCILWARD_SEED");
    let (first, count) = one.map_or((0, number("STENCILWARD_SEEDS").unwrap_or(SEEDS)), |s| (s, 1));
    let (faults, events) = years(first, count).unwrap_or_else(|why| panic!("{why}"));
    println!("{count} years of {LINES} lines and {STENCILS} stencils: {events} events");
    for fault in Fault::ALL {
        println!("{:>8} {fault:?}", faults.of(*fault));
        assert!(one.is_some() || faults.of(*fault) > 0, "{fault:?} never happened");
    }
}
