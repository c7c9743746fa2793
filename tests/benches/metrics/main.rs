//! What `/metrics` costs: with 10,000 stencils, beside the library's bare encoder on the same
//! families and the script one would write instead; and what being scraped every second takes
//! from the pipeline. `cargo bench -p stencilward-tests --bench metrics`. Prints figures; asserts
//! no time.
//!
//! The gateway answers from a process of its own, so its figure has the way over HTTP in it; the
//! bare encoder has none. A throughput of which two per cent matter cannot be told from the noise
//! of few runs: beside it stands the processor time of a scrape, which can.
#![allow(clippy::unwrap_used, reason = "a bench that cannot go on has no figure")]

#[allow(dead_code, reason = "the bench of MQTT needs more of it")]
#[path = "../mqtt/backlog.rs"]
mod backlog;
mod bare;
#[allow(dead_code, reason = "the bench of MQTT needs more of it")]
#[path = "../mqtt/ours.rs"]
mod ours;

use std::io::Write as _;
use std::net::SocketAddr;
use std::process::{Command, Stdio};
use std::time::{Duration, Instant};

use stencilward_tests::mosquitto::{Mosquitto, Persistence};
use stencilward_tests::{http, python};

use backlog::Backlog;
use ours::Gateway;

const STENCILS: usize = 10_000;
/// As many as have series of their own unless set otherwise.
const USUAL_STENCILS: usize = 2_000;
/// Scrapes of each kind.
const SCRAPES: usize = 30;
/// Runs of the pipeline with and without being scraped, in turn.
const PAIRS: usize = 7;
const MESSAGES: u64 = 400_000;
const WINDOW: u32 = 2_000;
const EVERY: Duration = Duration::from_secs(1);

fn main() {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    runtime.block_on(async {
        let broker = Mosquitto::with_window(Persistence::Off, WINDOW).await;
        let Some(broker) = broker else { return };
        let mut backlog = Backlog::new(broker.host(), broker.port());
        exposition(&mut backlog).await;
        pipeline(&mut backlog).await;
    });
}

/// The page itself.
async fn exposition(backlog: &mut Backlog) {
    let mut gateway = Gateway::with_stencils(backlog, STENCILS);
    gateway.introduce(backlog).await;
    let text = scrape(gateway.address()).await;
    let series = text.lines().filter(|line| !line.starts_with('#')).count();
    println!("figure metrics.page.size {:.2} MB", text.len() as f64 / 1e6);
    println!("figure metrics.page.series {series} series");
    let registry = bare::registry(&text);
    let (mut ours, mut encoder, mut beside) = (vec![], vec![], vec![]);
    for _ in 0..SCRAPES {
        let began = Instant::now();
        scrape(gateway.address()).await;
        ours.push(millis(began.elapsed()));
        let began = Instant::now();
        bare::encoded(&registry);
        encoder.push(millis(began.elapsed()));
        beside.push(ours[ours.len() - 1] / encoder[encoder.len() - 1]);
    }
    let ours = figure("metrics.page.ours", ours, "ms");
    figure("metrics.page.bare_encoder", encoder, "ms");
    figure("metrics.page.ours_beside_bare_encoder", beside, "times");
    if let Some(script) = by_script(&text) {
        let script = figure("metrics.page.script", script, "ms");
        println!("figure metrics.page.script_beside_ours {:.2} times", script / ours);
    }
    gateway.end(backlog).await;
}

fn by_script(text: &str) -> Option<Vec<f64>> {
    let mut child = Command::new(python::for_peers()?)
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/benches/metrics/script.py"))
        .arg("5")
        .stdin(Stdio::piped())
        .stdout(Stdio::piped())
        .spawn()
        .unwrap();
    child.stdin.take().unwrap().write_all(text.as_bytes()).unwrap();
    let output = child.wait_with_output().unwrap();
    String::from_utf8_lossy(&output.stdout).lines().map(|line| line.parse().ok()).collect()
}

/// What is left of the throughput while somebody scrapes, and what a scrape costs the processor.
async fn pipeline(backlog: &mut Backlog) {
    let (mut alone, mut scraped, mut beside) = (vec![], vec![], vec![]);
    for _ in 0..PAIRS {
        for (rates, scrapes) in [(&mut alone, false), (&mut scraped, true)] {
            let mut gateway = Gateway::with_stencils(backlog, USUAL_STENCILS);
            gateway.introduce(backlog).await;
            let address = gateway.address();
            let scraper = scrapes.then(|| tokio::spawn(scrape_on(address)));
            rates.push(gateway.drain(backlog, MESSAGES).await);
            if let Some(scraper) = scraper {
                scraper.abort();
            }
        }
        beside.push(scraped[scraped.len() - 1] / alone[alone.len() - 1]);
    }
    figure("metrics.pipeline.alone", alone, "messages/s");
    figure("metrics.pipeline.scraped_each_second", scraped, "messages/s");
    figure("metrics.pipeline.scraped_beside_alone", beside, "times");
    let mut gateway = Gateway::with_stencils(backlog, USUAL_STENCILS);
    gateway.introduce(backlog).await;
    let before = gateway.processor_time();
    for _ in 0..SCRAPES {
        scrape(gateway.address()).await;
    }
    let took = gateway.processor_time().saturating_sub(before) / SCRAPES as u32;
    println!("figure metrics.scrape.processor_time {:.2} ms", millis(took));
    let cores = std::thread::available_parallelism().unwrap().get() as f64;
    let share = took.as_secs_f64() / EVERY.as_secs_f64() / cores;
    println!("figure metrics.scrape.share_of_processors {:.3} %", share * 100.0);
    gateway.end(backlog).await;
}

async fn scrape(address: SocketAddr) -> String {
    http::get(address, "/metrics").await.unwrap().body
}

/// The gateway is stopped and started while this runs.
async fn scrape_on(address: SocketAddr) {
    loop {
        tokio::time::sleep(EVERY).await;
        http::get(address, "/metrics").await;
    }
}

fn millis(time: Duration) -> f64 {
    time.as_secs_f64() * 1_000.0
}

/// Prints the median and gives it.
fn figure(name: &str, mut values: Vec<f64>, unit: &str) -> f64 {
    values.sort_by(f64::total_cmp);
    let median = values[values.len() / 2];
    println!("figure {name} {median:.3} {unit}");
    median
}
