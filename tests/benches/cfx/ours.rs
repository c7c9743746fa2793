//! The gateway as a process of its own: from the broker to durable events.

use std::net::SocketAddr;
use std::process::Command;
use std::time::{Duration, Instant};

use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::http;
use stencilward_tests::rabbitmq::USER;
use tokio::time::sleep;

use super::backlog::Backlog;
use super::messages::{HANDLE, STENCIL};

const PATIENCE: Duration = Duration::from_secs(300);

/// Messages a second, from the gateway's start to the last durable event.
pub(crate) async fn drain(backlog: &Backlog, panels: u64) -> f64 {
    let folder = tempfile::tempdir().unwrap();
    let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
    let (place, queue, (user, password)) = (backlog.place(), &backlog.queue, USER);
    let text = format!(
        r#"
site: Invented Works
listen: {address}
ledger: bench.db
stencils: [{{ code: {STENCIL}, rated-strokes: 1000000000, clean: true }}]
cfx:
  - name: floor
    handle: Invented.Gateway.1
    broker: {{ address: "{place}", sources: [{queue}], user: {user}, password-file: password }}
machines:
  - name: printer
    kind: printer
    fastest-cycle: 1ms
    cfx: {{ endpoint: floor, handle: {HANDLE}, signals: [strokes-done, stencil-seated] }}
"#
    );
    let file = folder.path().join("bench.yaml");
    std::fs::write(&file, text).unwrap();
    std::fs::write(folder.path().join("password"), password).unwrap();
    let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
    command.arg("run").arg(&file).current_dir(folder.path());
    let begun = Instant::now();
    let mut gateway = Child::start(&command);
    until(address, panels, &gateway).await;
    let took = begun.elapsed();
    gateway.stop();
    panels as f64 / took.as_secs_f64()
}

async fn until(address: SocketAddr, panels: u64, gateway: &Child) {
    let begun = Instant::now();
    loop {
        let machines = http::get(address, "/api/v1/machines").await;
        let machines = machines.map(|answer| answer.json()).unwrap_or_default();
        if machines["machines"][0]["booked_strokes"] == panels {
            return;
        }
        let said = gateway.transcript();
        assert!(begun.elapsed() < PATIENCE, "waited in vain; last seen: {machines}\n{said}");
        sleep(Duration::from_millis(5)).await;
    }
}
