//! Our links, set up by a configuration as a plant would, with a site task that confirms at once.

use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::Mutex;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::{Duration, Instant};

use stencilward_adapters::link::{Floor, Intake, Observer, Trouble};
use stencilward_adapters::settings::Span;
use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::outputs::Wanted;
use tokio::sync::watch;
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;

/// What is read of a machine: ten registers.
pub(crate) const POINTS: &str = "[\
    { signal: stroke-total, table: input, at: 0, type: u32, words: high-first }, \
    { signal: machine-state, table: input, at: 2, type: u16, values: { 1: running } }, \
    { signal: stencil-seated, table: input, at: 3, type: text, registers: 7 }]";

/// When rounds ended, by machine.
#[derive(Debug, Default)]
pub(crate) struct Rounds(Mutex<Vec<(u32, Instant)>>);

impl Rounds {
    pub(crate) fn take(&self) -> Vec<(u32, Instant)> {
        std::mem::take(&mut self.0.lock().unwrap())
    }
}

impl Observer for Rounds {
    fn trouble(&self, machine: &MachineName, _: Trouble, detail: &str) {
        eprintln!("{machine}: {detail}");
    }

    fn round(&self, machine: &MachineName, _: Duration) {
        let number = machine.as_str().rsplit('-').next().and_then(|n| n.parse().ok());
        self.0.lock().unwrap().push((number.unwrap_or_default(), Instant::now()));
    }

    fn output(&self, _: &MachineName, _: &OutputName, _: bool, _: Option<bool>) {}
}

/// How many rounds ended.
#[derive(Debug, Default)]
pub(crate) struct Count(AtomicU64);

impl Count {
    pub(crate) fn rounds(&self) -> u64 {
        self.0.load(Ordering::Relaxed)
    }
}

impl Observer for Count {
    fn trouble(&self, machine: &MachineName, _: Trouble, detail: &str) {
        eprintln!("{machine}: {detail}");
    }

    fn round(&self, _: &MachineName, _: Duration) {
        self.0.fetch_add(1, Ordering::Relaxed);
    }

    fn output(&self, _: &MachineName, _: &OutputName, _: bool, _: Option<bool>) {}
}

/// Links at work; stopped by [`Links::stop`].
pub(crate) struct Links {
    stop: CancellationToken,
    tasks: JoinSet<()>,
}

impl Links {
    /// One for each address, each polled so often; a plant's file may not ask for less than 10 ms.
    pub(crate) fn start(
        addresses: &[SocketAddr],
        poll: Duration,
        observer: Arc<dyn Observer>,
    ) -> Self {
        let machines: String = (0..).zip(addresses).map(|(n, at)| machine(n, *at)).collect();
        Self::to(&machines, poll, observer)
    }

    /// One for each machine of this part of a plant's file.
    pub(crate) fn to(machines: &str, poll: Duration, observer: Arc<dyn Observer>) -> Self {
        let text = format!("site: Invented Works\nmachines:\n{machines}");
        let mut configuration = stencilward_config::parse("bench.yaml", &text).unwrap();
        let settings =
            configuration.machines.iter_mut().filter_map(|machine| machine.modbus.as_mut());
        settings.for_each(|settings| settings.poll = Span(poll));
        let (intake, mut deliveries) = Intake::bounded(1_024);
        let (_, wanted) = watch::channel(Arc::new(Wanted::default()));
        let stop = CancellationToken::new();
        let floor = Floor::bare(intake, wanted, observer, stop.clone());
        let mut tasks = JoinSet::new();
        for wire in configuration.wires() {
            tasks.spawn(wire.link(&stencilward_adapters::shown::nothing()).run(floor.clone()));
        }
        tasks.spawn(async move {
            let mut round = Vec::new();
            while deliveries.recv_many(&mut round, 512).await > 0 {
                for delivery in round.drain(..) {
                    let _ = delivery.receipt.send(Vec::new());
                }
            }
        });
        Self { stop, tasks }
    }

    pub(crate) async fn stop(mut self) {
        self.stop.cancel();
        while self.tasks.join_next().await.is_some() {}
    }
}

fn machine(number: u32, at: SocketAddr) -> String {
    format!(
        "  - {{ name: printer-{number}, kind: printer, fastest-cycle: 1s, modbus: {{ address: \
         \"{at}\", points: {POINTS} }} }}\n"
    )
}
