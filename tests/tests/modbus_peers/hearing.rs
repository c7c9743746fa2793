//! A link to one machine, and what it says.

use std::sync::Arc;
use std::time::Duration;

use serde_json::{Value, json};
use stencilward_adapters::link::{Delivery, Floor, Intake, Link as _, Observer, Trouble};
use stencilward_adapters::modbus::{Link, Machine, Settings};
use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::outputs::Wanted;
use stencilward_domain::signal::Said;
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

/// Longest wait for anything: long enough for a busy computer, never used up otherwise.
const PATIENCE: Duration = Duration::from_secs(20);

/// Nobody listens to troubles here: what matters is what is said.
struct Silent;

impl Observer for Silent {
    fn trouble(&self, _: &MachineName, _: Trouble, _: &str) {}
    fn round(&self, _: &MachineName, _: Duration) {}
    fn output(&self, _: &MachineName, _: &OutputName, _: bool, _: Option<bool>) {}
}

/// A link at work.
pub(crate) struct Hearing {
    deliveries: mpsc::Receiver<Delivery>,
    stop: CancellationToken,
    task: JoinHandle<()>,
    _wanted: watch::Sender<Arc<Wanted>>,
}

fn name() -> MachineName {
    MachineName::new("machine").unwrap()
}

fn settings(port: u64, mut settings: Value) -> Settings {
    settings["address"] = json!(format!("127.0.0.1:{port}"));
    settings["poll"] = json!("50ms");
    let settings: Settings = serde_json::from_value(settings).unwrap();
    assert_eq!(settings.check(), Vec::new());
    settings
}

/// A simulated machine on a free port.
pub(crate) async fn machine(of: Value) -> Machine {
    let anywhere = ([127, 0, 0, 1], 0).into();
    Machine::start(settings(1, of), anywhere).await.unwrap()
}

impl Hearing {
    /// A link to the port, wanting this.
    pub(crate) fn start(port: u64, of: Value, wanted: Wanted) -> Self {
        Self::with(settings(port, of), wanted)
    }

    /// A link with these settings, wanting this.
    pub(crate) fn with(settings: Settings, wanted: Wanted) -> Self {
        let (intake, deliveries) = Intake::bounded(1);
        let (sender, receiver) = watch::channel(Arc::new(wanted));
        let stop = CancellationToken::new();
        let floor = Floor::bare(intake, receiver, Arc::new(Silent), stop.clone());
        let link = Box::new(Link::new(name(), settings));
        Self { deliveries, stop, task: tokio::spawn(link.run(floor)), _wanted: sender }
    }

    /// What is said in the first round.
    pub(crate) async fn first(&mut self) -> Vec<Said> {
        let delivery = timeout(PATIENCE, self.deliveries.recv()).await;
        let delivery = delivery.expect("a round in time").expect("a link at work");
        let said = delivery.signals.into_iter().map(|signal| signal.said).collect();
        let _ = delivery.receipt.send(Vec::new());
        said
    }

    /// Ends the link.
    pub(crate) async fn stop(mut self) {
        self.stop.cancel();
        self.deliveries.close();
        timeout(PATIENCE, self.task).await.expect("an end in time").unwrap();
    }
}

/// What is wanted while this output is permitted.
pub(crate) fn permitting(output: &str) -> Wanted {
    let mut wanted = Wanted::default();
    wanted.permit(name(), OutputName::new(output).unwrap());
    wanted
}
