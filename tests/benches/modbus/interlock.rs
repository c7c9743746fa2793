//! From a register that changes to the interlock's coil that is written, through the whole gateway
//! and its durable ledger, beyond the poll period.

use std::net::SocketAddr;
use std::time::{Duration, Instant};

use stencilward_domain::names::{OutputName, StencilCode};
use stencilward_domain::signal::Said;
use stencilward_service::gateway::{DRAIN, Gateway};
use stencilward_service::plant::Plant;
use stencilward_tests::free_port::free_port;
use tokio::time::timeout;

const POLL: Duration = Duration::from_millis(20);
const CHANGES: usize = 400;
const LIMIT: Duration = Duration::from_secs(10);

const CONFIGURATION: &str = "
site: Invented Works
policy: { printing: { needs-take: false } }
stencils: [{ code: ST-1, rated-strokes: 1000000, clean: true }]
machines:
  - name: printer
    kind: printer
    fastest-cycle: 1s
    modbus:
      address: 127.0.0.1:1
      poll: 20ms
      points: [{ signal: stencil-seated, table: holding, at: 0, type: text, registers: 4 }]
      outputs: [{ name: lock, drive: print-permit, table: coil, at: 0 }]
";

pub(crate) async fn bench() {
    let folder = tempfile::tempdir().unwrap();
    let mut configuration = stencilward_config::parse("bench.yaml", CONFIGURATION).unwrap();
    configuration.ledger = folder.path().join("bench.db");
    configuration.listen = SocketAddr::from(([127, 0, 0, 1], free_port())).to_string();
    let plant = Plant::start(configuration).await.unwrap();
    let gateway = Gateway::start(&plant.configuration).await.unwrap();
    let (_, machine) = plant.machine("printer").unwrap();
    let mut lock = machine.output(&OutputName::new("lock").unwrap()).unwrap();
    let code = StencilCode::new("ST-1").unwrap();
    let mut took = Vec::with_capacity(CHANGES);
    for change in 0..CHANGES {
        let permits = change % 2 == 0;
        let said = if permits { Said::Seated { code: code.clone() } } else { Said::Removed };
        let begun = Instant::now();
        machine.say(&said, None).await.unwrap();
        timeout(LIMIT, lock.wait_for(|open| *open == permits)).await.unwrap().unwrap();
        took.push(begun.elapsed().as_secs_f64() * 1_000.0);
    }
    gateway.stop(DRAIN).await.unwrap();
    took.sort_by(f64::total_cmp);
    let poll = POLL.as_secs_f64() * 1_000.0;
    let at = |share: f64| took[((took.len() - 1) as f64 * share) as usize];
    println!("figure modbus.interlock.poll {poll:.3} ms");
    println!("figure modbus.interlock.p50 {:.3} ms", at(0.5));
    println!("figure modbus.interlock.p99 {:.3} ms", at(0.99));
    println!("figure modbus.interlock.p99_beyond_poll {:.3} ms", at(0.99) - poll);
}
