//! A thousand machines polled once a second: how late a poll is, and what a machine costs.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::{Duration, Instant};

use tokio::time::sleep;

use super::ours::{Links, Rounds};
use super::processor;
use super::servers::{Machines, Servers};

const MACHINES: usize = 1_000;
const WARM_UP: Duration = Duration::from_secs(4);
const MEASURED: Duration = Duration::from_secs(20);

pub(crate) async fn bench() {
    let servers = Servers::start(MACHINES, Machines::AtRest);
    let memory = resident();
    let rounds = Arc::new(Rounds::default());
    let links = Links::start(&servers.addresses, Duration::from_secs(1), Arc::clone(&rounds) as _);
    sleep(WARM_UP).await;
    rounds.take();
    let (used, begun) = (processor(), Instant::now());
    sleep(MEASURED).await;
    let (used, lasted) = (processor() - used, begun.elapsed().as_secs_f64());
    let memory = resident().saturating_sub(memory);
    let rounds = rounds.take();
    links.stop().await;

    let mut ended: BTreeMap<u32, Vec<Instant>> = BTreeMap::new();
    for (machine, at) in rounds {
        ended.entry(machine).or_default().push(at);
    }
    let fewest = ended.values().map(Vec::len).min().unwrap_or(0);
    let mut late: Vec<f64> = ended.values().flat_map(|times| lateness(times)).collect();
    late.sort_by(f64::total_cmp);
    println!("figure modbus.thousand.machines_heard {} machines", ended.len());
    println!("figure modbus.thousand.fewest_polls_in_20_s {fewest} polls");
    let at = |share: f64| late[((late.len() - 1) as f64 * share) as usize] * 1_000.0;
    println!("figure modbus.thousand.lateness_p50 {:.3} ms", at(0.5));
    println!("figure modbus.thousand.lateness_p99 {:.3} ms", at(0.99));
    println!("figure modbus.thousand.lateness_max {:.3} ms", at(1.0));
    let each = MACHINES as f64;
    println!("figure modbus.thousand.processor {:.3} percent_of_a_core", used / lasted * 100.0);
    println!("figure modbus.thousand.processor_each {:.1} us/s", used / lasted * 1e6 / each);
    println!("figure modbus.thousand.memory_each {:.1} kB", memory as f64 / each);
}

/// How much later than its second each poll ended, reckoned from the earliest for its place.
fn lateness(times: &[Instant]) -> Vec<f64> {
    let Some(first) = times.first() else { return Vec::new() };
    let place = |n: usize, at: &Instant| at.duration_since(*first).as_secs_f64() - n as f64;
    let places: Vec<f64> = times.iter().enumerate().map(|(n, at)| place(n, at)).collect();
    let earliest = places.iter().copied().fold(f64::INFINITY, f64::min);
    places.into_iter().map(|place| place - earliest).collect()
}

/// Memory of this process, kB (proc(5)).
fn resident() -> u64 {
    let status = std::fs::read_to_string("/proc/self/status").unwrap();
    let line = status.lines().find(|line| line.starts_with("VmRSS:")).unwrap();
    line.split_whitespace().nth(1).unwrap().parse().unwrap()
}
