//! What an MQTT link costs from the broker to the ledger, beside a bare loop that stores nothing and
//! the script one would write instead. `cargo bench -p stencilward-tests --bench mqtt`. Prints
//! figures; asserts no time.
//!
//! Each run drains a backlog of messages of 300 bytes with QoS 1 from Mosquitto, which has them
//! before the clock starts; that of the gateway starts with its process. The broker's window, the
//! messages it sends before the first is confirmed, decides how many can share a durable write.
//! With `narrow`, Mosquitto's usual 20, whoever confirms only what is on the disk waits for the
//! disk after every 20, so that this tells of the disk; the other figures are of a wide window,
//! for all three alike. `STENCILWARD_MESSAGES` lets that many go through one gateway, and tells its
//! memory at ten points on the way.
#![allow(clippy::unwrap_used, reason = "a bench that cannot go on has no figure")]

mod backlog;
mod bare;
#[allow(dead_code, reason = "the bench of metrics needs more of it")]
mod ours;

use std::process::Command;

use stencilward_tests::mosquitto::{Mosquitto, Persistence, USUAL_WINDOW};
use stencilward_tests::python;

use backlog::Backlog;
use ours::Gateway;

/// Runs of each kind, in turn; the figure is their median.
const RUNS: usize = 3;
/// Enough that the start of a process does not count for much.
const MESSAGES: u64 = 200_000;
/// Messages under way at the most, unless it is narrow.
const WIDE_WINDOW: u32 = 2_000;
/// The script is slow.
const MESSAGES_FOR_SCRIPT: u64 = 5_000;
/// Messages through one gateway while its memory is watched, unless the variable says otherwise.
const MESSAGES_FOR_MEMORY: u64 = 200_000;
const POINTS: u64 = 10;

fn main() {
    let runtime = tokio::runtime::Runtime::new().unwrap();
    runtime.block_on(async {
        for (kind, window) in [("backlog", WIDE_WINDOW), ("backlog.narrow", USUAL_WINDOW)] {
            let broker = Mosquitto::with_window(Persistence::Off, window).await;
            let Some(broker) = broker else { return };
            let mut backlog = Backlog::new(broker.host(), broker.port());
            rates(kind, &mut backlog).await;
            if window == WIDE_WINDOW {
                memory(&mut backlog).await;
            }
        }
    });
}

async fn rates(kind: &str, backlog: &mut Backlog) {
    let (mut bare, mut ours, mut script, mut beside) = (vec![], vec![], vec![], vec![]);
    for _ in 0..RUNS {
        bare.push(bare::drain(backlog, MESSAGES).await);
        let mut gateway = Gateway::new(backlog);
        gateway.introduce(backlog).await;
        ours.push(gateway.drain(backlog, MESSAGES).await);
        beside.push(ours[ours.len() - 1] / bare[bare.len() - 1]);
        script.extend(by_script(backlog).await);
    }
    figure(&format!("mqtt.{kind}.bare_loop"), bare, "messages/s");
    let ours = figure(&format!("mqtt.{kind}.ours"), ours, "messages/s");
    figure(&format!("mqtt.{kind}.ours_beside_bare_loop"), beside, "times");
    if !script.is_empty() {
        let script = figure(&format!("mqtt.{kind}.script"), script, "messages/s");
        figure(&format!("mqtt.{kind}.ours_beside_script"), vec![ours / script], "times");
    }
}

async fn by_script(backlog: &mut Backlog) -> Option<f64> {
    let python = python::for_peers()?;
    let folder = tempfile::tempdir().unwrap();
    backlog.introduce("script").await;
    backlog.publish(MESSAGES_FOR_SCRIPT).await;
    let output = Command::new(python)
        .arg(concat!(env!("CARGO_MANIFEST_DIR"), "/benches/mqtt/script.py"))
        .args([backlog.host(), &backlog.port().to_string(), "script"])
        .arg(folder.path().join("script.db"))
        .arg(MESSAGES_FOR_SCRIPT.to_string())
        .output()
        .unwrap();
    backlog.forget("script").await;
    String::from_utf8_lossy(&output.stdout).trim().parse().ok()
}

async fn memory(backlog: &mut Backlog) {
    let given = std::env::var("STENCILWARD_MESSAGES").ok();
    let all = given.and_then(|text| text.parse().ok()).unwrap_or(MESSAGES_FOR_MEMORY);
    let mut gateway = Gateway::new(backlog);
    gateway.introduce(backlog).await;
    for point in 1..=POINTS {
        gateway.pass(backlog, all / POINTS).await;
        let messages = all / POINTS * point;
        println!("figure mqtt.memory.after_{messages} {:.1} MiB", gateway.resident_mib());
    }
    gateway.end(backlog).await;
}

/// Prints the median and gives it.
fn figure(name: &str, mut values: Vec<f64>, unit: &str) -> f64 {
    values.sort_by(f64::total_cmp);
    let median = values[values.len() / 2];
    println!("figure {name} {median:.3} {unit}");
    median
}
