//! As fast as it goes, on one connection and on a hundred.

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use tokio::task::JoinSet;
use tokio::time::sleep;
use tokio_modbus::client::tcp;
use tokio_modbus::prelude::*;

use super::ours::{Count, Links};
use super::servers::{Machines, Servers};
use super::{RUNS, figure, processor, script};

const WARM_UP: Duration = Duration::from_millis(500);
const MEASURED: Duration = Duration::from_secs(2);

const SCRIPT: &str = r#"
import sys, time
from pymodbus.client import ModbusTcpClient
client = ModbusTcpClient("127.0.0.1", port=int(sys.argv[1]))
client.connect()
end, count = time.monotonic() + float(sys.argv[2]), 0
while time.monotonic() < end:
    if client.read_input_registers(0, count=10).isError():
        sys.exit("an error for an answer")
    count += 1
print(count / float(sys.argv[2]))
"#;

pub(crate) async fn bench() {
    for connections in [1, 100] {
        compare(&format!("modbus.flat_out.{connections}"), connections, Machines::AtRest).await;
        compare(&format!("modbus.all_news.{connections}"), connections, Machines::Hasty).await;
    }
    let servers = Servers::start(1, Machines::AtRest);
    let port = servers.addresses[0].port().to_string();
    if let Some(rate) = script(SCRIPT, port, MEASURED).await {
        println!("figure modbus.flat_out.1.script {rate:.3} reads/s");
    }
}

async fn compare(name: &str, connections: usize, machines: Machines) {
    let servers = Servers::start(connections, machines);
    let (mut raw, mut ours) = (vec![], vec![]);
    for _ in 0..RUNS {
        raw.push(raw_loop(&servers.addresses).await);
        ours.push(through_us(&servers.addresses).await);
    }
    let ratios = raw.iter().zip(&ours).map(|(raw, ours)| ours.rate / raw.rate).collect();
    for (whose, runs) in [("raw_loop", raw), ("ours", ours)] {
        let (rates, each) = runs.into_iter().map(|run| (run.rate, run.each)).unzip();
        figure(&format!("{name}.{whose}"), rates, "reads/s");
        figure(&format!("{name}.{whose}_processor"), each, "us/read");
    }
    figure(&format!("{name}.ours_beside_raw_loop"), ratios, "times");
}

struct Run {
    /// Reads a second.
    rate: f64,
    /// Processor time for one read on this side of the connection, microseconds.
    each: f64,
}

/// Watches a count of reads for a while.
async fn measure(reads: impl Fn() -> u64) -> Run {
    sleep(WARM_UP).await;
    let (before, used) = (reads(), processor());
    sleep(MEASURED).await;
    let (made, used) = ((reads() - before) as f64, processor() - used);
    Run { rate: made / MEASURED.as_secs_f64(), each: used * 1e6 / made }
}

async fn raw_loop(addresses: &[SocketAddr]) -> Run {
    let count = Arc::new(AtomicU64::new(0));
    let mut tasks = JoinSet::new();
    for address in addresses.iter().copied() {
        let count = Arc::clone(&count);
        tasks.spawn(async move {
            let mut context = tcp::connect_slave(address, Slave(1)).await.unwrap();
            loop {
                let words = context.read_input_registers(0, 10).await.unwrap().unwrap();
                assert_eq!(words.len(), 10);
                count.fetch_add(1, Ordering::Relaxed);
            }
        });
    }
    let run = measure(|| count.load(Ordering::Relaxed)).await;
    tasks.shutdown().await;
    run
}

async fn through_us(addresses: &[SocketAddr]) -> Run {
    let count = Arc::new(Count::default());
    let links = Links::start(addresses, Duration::from_micros(1), Arc::clone(&count) as _);
    let run = measure(|| count.rounds()).await;
    links.stop().await;
    run
}
