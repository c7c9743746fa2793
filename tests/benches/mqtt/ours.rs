//! The gateway as a process of its own: from the broker to durable events.

use std::fmt::Write as _;
use std::net::SocketAddr;
use std::process::Command;
use std::time::{Duration, Instant};

use stencilward_tests::child::Child;
use stencilward_tests::free_port::free_port;
use stencilward_tests::http;
use tempfile::TempDir;
use tokio::time::sleep;

use super::backlog::{Backlog, SEAT, TOPIC};

const PATIENCE: Duration = Duration::from_secs(600);

pub(crate) struct Gateway {
    folder: TempDir,
    address: SocketAddr,
    running: Option<Child>,
    passed: u64,
}

impl Gateway {
    pub(crate) fn new(backlog: &Backlog) -> Self {
        Self::with_stencils(backlog, 1)
    }

    /// A gateway that knows so many stencils.
    pub(crate) fn with_stencils(backlog: &Backlog, count: usize) -> Self {
        let folder = tempfile::tempdir().unwrap();
        let address: SocketAddr = ([127, 0, 0, 1], free_port()).into();
        let (host, port) = (backlog.host(), backlog.port());
        let mut text = format!(
            r#"
site: Invented Works
listen: {address}
ledger: bench.db
metrics: {{ stencils: {count} }}
brokers:
  - {{ name: floor, address: "{host}:{port}", client: bench }}
machines:
  - name: printer
    kind: printer
    fastest-cycle: 1ms
    mqtt:
      broker: floor
      messages:
        - {{ topic: {SEAT}, signal: stencil-seated, stencil: /code }}
        - {{ topic: {TOPIC}, signal: strokes-done, count: /count, identity: /id }}
stencils:
"#
        );
        for number in 1..=count {
            let _ = writeln!(
                text,
                "  - {{ code: ST-{number}, rated-strokes: 1000000000, clean: true }}"
            );
        }
        std::fs::write(folder.path().join("bench.yaml"), text).unwrap();
        Self { folder, address, running: None, passed: 0 }
    }

    fn run(&mut self) {
        let mut command = Command::new(env!("CARGO_BIN_EXE_stencilward-under-test"));
        command.arg("run").arg(self.folder.path().join("bench.yaml"));
        self.running = Some(Child::start(&command));
    }

    /// Runs until the broker knows it, and a stencil is seated that the strokes are booked to.
    pub(crate) async fn introduce(&mut self, backlog: &Backlog) {
        self.run();
        self.until(|machine| machine["link"] == "up").await;
        backlog.seat("ST-1").await;
        self.until(|machine| !machine["stencil"].is_null()).await;
    }

    /// Messages a second, from the gateway's start to the last durable event.
    pub(crate) async fn drain(&mut self, backlog: &mut Backlog, count: u64) -> f64 {
        self.running.take().unwrap().stop();
        backlog.publish(count).await;
        self.passed += count;
        let begun = Instant::now();
        self.run();
        self.all().await;
        let took = begun.elapsed();
        self.running.take().unwrap().stop();
        backlog.forget("bench-in").await;
        count as f64 / took.as_secs_f64()
    }

    /// Lets so many messages through while it runs.
    pub(crate) async fn pass(&mut self, backlog: &mut Backlog, count: u64) {
        for lot in (0..count).step_by(50_000) {
            let lot = (count - lot).min(50_000);
            backlog.publish(lot).await;
            self.passed += lot;
            self.all().await;
        }
    }

    pub(crate) async fn end(mut self, backlog: &Backlog) {
        self.running.take().unwrap().stop();
        backlog.forget("bench-in").await;
    }

    /// Where it serves.
    pub(crate) fn address(&self) -> SocketAddr {
        self.address
    }

    /// Processor time used since it began, from Linux (proc(5), in ticks of a hundredth).
    pub(crate) fn processor_time(&self) -> Duration {
        let id = self.running.as_ref().unwrap().id();
        let line = std::fs::read_to_string(format!("/proc/{id}/stat")).unwrap();
        let fields = line.rsplit_once(')').unwrap().1.split_whitespace();
        let ticks: u64 = fields.skip(11).take(2).map(|ticks| ticks.parse::<u64>().unwrap()).sum();
        Duration::from_millis(ticks * 10)
    }

    /// Memory in use, from Linux.
    pub(crate) fn resident_mib(&self) -> f64 {
        let id = self.running.as_ref().unwrap().id();
        let status = std::fs::read_to_string(format!("/proc/{id}/status")).unwrap();
        let line = status.lines().find_map(|line| line.strip_prefix("VmRSS:")).unwrap();
        let kib: f64 = line.trim().trim_end_matches(" kB").parse().unwrap();
        kib / 1024.0
    }

    async fn all(&self) {
        let passed = self.passed;
        self.until(|machine| machine["booked_strokes"] == passed).await;
    }

    async fn until(&self, is_so: impl Fn(&serde_json::Value) -> bool) {
        let begun = Instant::now();
        loop {
            let machines = http::get(self.address, "/api/v1/machines").await;
            let machines = machines.map(|answer| answer.json()).unwrap_or_default();
            if is_so(&machines["machines"][0]) {
                return;
            }
            assert!(begun.elapsed() < PATIENCE, "waited in vain; last seen: {machines}");
            sleep(Duration::from_millis(5)).await;
        }
    }
}
