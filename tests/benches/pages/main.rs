//! How fast each page is there, and how heavy it is, with 2,000 stencils, 200 machines, a year of
//! events, 50 browsers and 20 scanners at once; beside the same server with a constant page of
//! the same weight, and the script one would write instead. `cargo bench -p stencilward-tests
//! --bench pages`. Prints figures; asserts no time. `STENCILWARD_BENCH` sets the seconds of each
//! load, 40 unless set.
//!
//! Gateway, constant page and script each run in a process of their own; browsers, scanners and
//! machines share that of the bench, and the processor.
#![allow(clippy::unwrap_used, clippy::panic, reason = "a bench that cannot go on has no figure")]

mod client;
mod constant;
mod load;
mod year;

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::process::Command;
use std::time::{Duration, Instant};

use rusqlite::Connection;
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::signal::Said;
use stencilward_service::plant::Plant;
use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::wait::eventually;
use stencilward_tests::{http, python};
use tokio::task::JoinHandle;

use load::Load;

const LIMIT: Duration = Duration::from_secs(300);
/// Between two strokes somewhere in the plant.
const STROKES: Duration = Duration::from_millis(20);
const SCRIPT: &str = include_str!("script.py");

fn main() {
    let arguments: Vec<String> = std::env::args().collect();
    if let [_, first, port, weight] = arguments.as_slice()
        && first == constant::AS_SERVER
    {
        return constant::serve(port.parse().unwrap(), weight.parse().unwrap());
    }
    tokio::runtime::Runtime::new().unwrap().block_on(bench());
}

fn seconds() -> Duration {
    let set = std::env::var("STENCILWARD_BENCH").ok();
    Duration::from_secs(set.and_then(|seconds| seconds.parse().ok()).unwrap_or(40))
}

async fn bench() {
    let folder = tempfile::tempdir().unwrap();
    let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
    let mut configuration = stencilward_config::parse("plant.yaml", &year::configuration())
        .unwrap_or_else(|faults| panic!("{faults:?}"));
    configuration.listen = address.to_string();
    configuration.ledger = folder.path().join("plant.db");
    let plant = Plant::start(configuration).await.unwrap();
    let began = Instant::now();
    let events = year::write(&plant.configuration).await;
    println!("figure pages.year {events} events");
    println!("figure pages.year.written {:.1} s", began.elapsed().as_secs_f64());
    let file = folder.path().join("plant.yaml");
    std::fs::write(&file, serde_yaml::to_string(&plant.configuration).unwrap()).unwrap();

    let began = Instant::now();
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.arg("run").arg(&file);
    let mut gateway = Child::start(&command);
    eventually("the gateway answers", LIMIT, async || {
        http::get(address, "/healthz").await.map(drop).ok_or("nothing")
    })
    .await;
    println!("figure pages.start {:.1} s", began.elapsed().as_secs_f64());
    let began = Instant::now();
    eventually("wear is added up", LIMIT, async || {
        let page = http::get(address, "/wear").await.map_or(String::new(), |page| page.body);
        if page.contains("still being read") { Err("not yet") } else { Ok(()) }
    })
    .await;
    println!("figure pages.wear.added_up {:.1} s", began.elapsed().as_secs_f64());
    eventually("all machines are up", LIMIT, async || {
        let seen = http::get(address, "/api/v1/machines").await.ok_or("nothing".to_owned())?;
        let seen = seen.json();
        let up = seen["machines"].as_array().unwrap().iter().filter(|m| m["link"] == "up").count();
        if up == year::MACHINES { Ok(()) } else { Err(format!("{up}")) }
    })
    .await;

    let printing = print_on(plant);
    let load = Load::of(address, events);
    load.warm_up().await;
    let seen = load.run(seconds(), true).await;
    report("pages", &seen);
    durable_writes(folder.path());
    ledger_writes(address).await;
    printing.abort();
    assert!(gateway.stop().success());

    let weight = seen.values().flat_map(|seen| &seen.weights).copied().max().unwrap_or(0);
    let port = free_port();
    let mut command = Command::new(std::env::current_exe().unwrap());
    command.args([constant::AS_SERVER, &port.to_string(), &weight.to_string()]);
    beside("pages.constant", port, &command).await;
    if let Some(python) = python::for_peers() {
        let port = free_port();
        let mut command = Command::new(python);
        command.args(["-c", SCRIPT, &port.to_string()]).arg(folder.path().join("plant.db"));
        beside("pages.script", port, &command).await;
    }
}

/// What else answers pages, under the same load of browsers.
async fn beside(name: &str, port: u16, command: &Command) {
    let address: SocketAddr = ([127, 0, 0, 1], port).into();
    let _server = Child::start(command);
    eventually(name, LIMIT, async || http::get(address, "/").await.map(drop).ok_or("nothing"))
        .await;
    let seen = Load::of_one(address).run(seconds() / 2, false).await;
    report(name, &seen);
}

fn report(of: &str, seen: &BTreeMap<&'static str, load::Seen>) {
    for (name, seen) in seen {
        println!("figure {of}.{name}.answers {}", seen.times.len());
        for (at, per_mille) in [("p50", 500), ("p99", 990), ("longest", 1_000)] {
            println!("figure {of}.{name}.{at} {:.2} ms", percentile(&seen.times, per_mille));
        }
        let heaviest = seen.weights.iter().max().copied().unwrap_or(0);
        println!("figure {of}.{name}.weight {:.1} kB", heaviest as f64 / 1_000.0);
    }
}

fn percentile(times: &[Duration], per_mille: usize) -> f64 {
    let mut times = times.to_vec();
    times.sort_unstable();
    let at = (times.len() * per_mille).div_ceil(1_000).clamp(1, times.len().max(1)) - 1;
    times.get(at).map_or(0.0, |time| time.as_secs_f64() * 1_000.0)
}

/// A stroke somewhere, again and again; each printer names its stencil first.
fn print_on(plant: Plant) -> JoinHandle<()> {
    tokio::spawn(async move {
        let mut at = 0_usize;
        loop {
            let number = at % year::PRINTERS;
            let name = MachineName::new(&year::printer(number)).unwrap();
            let (_, printer) = plant.machine(name.as_str()).unwrap();
            if at < year::PRINTERS {
                let code = StencilCode::new(&year::code(number)).unwrap();
                printer.say(&Said::Seated { code }, None).await.unwrap();
            }
            let id = format!("live-{at}");
            printer.say(&Said::StrokesDone { count: 1 }, Some(&id)).await.unwrap();
            at += 1;
            tokio::time::sleep(STROKES).await;
        }
    })
}

/// What one durable write of a decision costs on this disk by itself.
fn durable_writes(folder: &std::path::Path) {
    let base = Connection::open(folder.join("bare.db")).unwrap();
    base.pragma_update(None, "journal_mode", "WAL").unwrap();
    base.pragma_update(None, "synchronous", "FULL").unwrap();
    base.execute("CREATE TABLE event (position INTEGER PRIMARY KEY, body TEXT)", ()).unwrap();
    let body = "x".repeat(300);
    let mut times = Vec::new();
    for _ in 0..500 {
        let began = Instant::now();
        base.execute("INSERT INTO event (body) VALUES (?1)", [&body]).unwrap();
        times.push(began.elapsed());
    }
    println!("figure pages.durable_write.p50 {:.2} ms", percentile(&times, 500));
    println!("figure pages.durable_write.p99 {:.2} ms", percentile(&times, 990));
}

/// What the gateway's own writes took under the load, by its metrics.
async fn ledger_writes(address: SocketAddr) {
    let metrics = http::get(address, "/metrics").await.unwrap().body;
    let value = |name: &str| {
        let line = metrics.lines().find(|line| line.starts_with(name)).unwrap_or_default();
        line.rsplit(' ').next().unwrap_or_default().parse::<f64>().unwrap_or(f64::NAN)
    };
    let sum = value("stencilward_ledger_write_duration_seconds_sum");
    let count = value("stencilward_ledger_write_duration_seconds_count");
    println!("figure pages.ledger_write.mean {:.2} ms", sum / count * 1_000.0);
}
