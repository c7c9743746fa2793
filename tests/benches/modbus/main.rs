//! What a Modbus link costs beside the barest loop and the script one would write instead.
//! `cargo bench -p stencilward-tests --bench modbus`, for some parts only `-- flat-out thousand`.
//! Prints figures; asserts no time.
//!
//! The machines are in another process, one port each, and give ten input registers: a total, a
//! state, and the code of a stencil.
#![allow(clippy::unwrap_used, reason = "a bench that cannot go on has no figure")]

mod flat_out;
mod interlock;
mod ours;
mod rtu;
mod servers;
mod thousand;

use std::process::Command;
use std::time::Duration;

use stencilward_tests::python;

/// Runs of each kind, in turn; the figure is their median.
const RUNS: usize = 3;

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    if let [_, first, count, strokes_a_read] = arguments.as_slice()
        && first == servers::AS_SERVERS
    {
        return servers::serve(count.parse().unwrap(), strokes_a_read.parse().unwrap());
    }
    let named: Vec<&String> = arguments[1..].iter().filter(|word| !word.starts_with('-')).collect();
    let wanted = |part: &str| named.is_empty() || named.iter().any(|name| *name == part);
    let runtime = tokio::runtime::Runtime::new().unwrap();
    runtime.block_on(async {
        if wanted("flat-out") {
            flat_out::bench().await;
        }
        if wanted("rtu") {
            rtu::bench().await;
        }
        if wanted("thousand") {
            thousand::bench().await;
        }
        if wanted("interlock") {
            interlock::bench().await;
        }
    });
}

/// Prints the median and gives it.
fn figure(name: &str, mut values: Vec<f64>, unit: &str) -> f64 {
    values.sort_by(f64::total_cmp);
    let median = values[values.len() / 2];
    println!("figure {name} {median:.3} {unit}");
    median
}

/// Processor time of this process, s (proc(5), clock ticks of 10 ms).
fn processor() -> f64 {
    let stat = std::fs::read_to_string("/proc/self/stat").unwrap();
    let fields: Vec<&str> = stat.rsplit(')').next().unwrap().split_whitespace().collect();
    let ticks = |at: usize| fields[at].parse::<f64>().unwrap();
    (ticks(11) + ticks(12)) / 100.0
}

/// The figure that a Python script prints when it is given a port and how long to measure; none,
/// said aloud, when it cannot.
async fn script(script: &str, port: String, measured: Duration) -> Option<f64> {
    let mut command = Command::new(python::for_peers()?);
    command.args(["-c", script, &port, &measured.as_secs().to_string()]);
    let output = tokio::task::spawn_blocking(move || command.output()).await.unwrap().unwrap();
    let said = String::from_utf8_lossy(&output.stdout).trim().parse().ok();
    if said.is_none() {
        println!("the script gave no figure: {}", String::from_utf8_lossy(&output.stderr).trim());
    }
    said
}
