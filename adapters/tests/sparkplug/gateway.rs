//! A link at work whose deliveries a test takes.

use std::collections::VecDeque;
use std::net::SocketAddr;
use std::sync::Arc;

use serde_json::{Value, json};
use stencilward_adapters::link::{Delivery, Floor, Intake, Link as _};
use stencilward_adapters::mqtt::Broker;
use stencilward_adapters::sparkplug::{AtBroker, Link, Machine, Settings};
use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::outputs::Wanted;
use stencilward_domain::signal::{Said, Signal};
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

pub(crate) use crate::blocking::within_sync;
pub(crate) use crate::notes::Notes;
pub(crate) use crate::patience::{until, within};

pub(crate) fn name() -> MachineName {
    MachineName::new("printer-1").unwrap()
}

/// Settings without a fault, as device `D` of edge node `N`.
pub(crate) fn settings(metrics: &Value, outputs: &Value) -> Settings {
    let settings = json!({
        "broker": "b", "group": "G", "edge-node": "N", "device": "D", "metrics": metrics,
        "outputs": outputs,
    });
    let settings: Settings = serde_json::from_value(settings).unwrap();
    assert_eq!(settings.check(), Vec::new());
    settings
}

/// A printer with a total, its stencil and a lock.
pub(crate) fn printer() -> Settings {
    settings(
        &json!([
            { "signal": "stroke-total", "name": "Strokes", "width": 32 },
            { "signal": "stencil-seated", "name": "Stencil" },
        ]),
        &json!([{ "name": "lock", "drive": "print-permit", "metric": "Permit" }]),
    )
}

/// A broker in the clear, spoken to with 3.1.1.
pub(crate) fn broker(address: SocketAddr) -> Broker {
    let broker = json!({
        "name": "b", "address": address.to_string(), "client": "gateway", "keep-alive": "2s",
    });
    serde_json::from_value(broker).unwrap()
}

pub(crate) fn simulated(address: SocketAddr) -> Machine {
    Machine::start(address, &name(), printer())
}

/// A link at work, and everything it was given.
pub(crate) struct Gateway {
    pub(crate) notes: Arc<Notes>,
    pub(crate) wanted: watch::Sender<Arc<Wanted>>,
    stop: CancellationToken,
    deliveries: mpsc::Receiver<Delivery>,
    waiting: VecDeque<Signal>,
    task: JoinHandle<()>,
}

impl Gateway {
    pub(crate) fn start(address: SocketAddr, settings: Settings) -> Self {
        Self::at(broker(address), settings)
    }

    pub(crate) fn at(broker: Broker, settings: Settings) -> Self {
        let at = json!({ "broker": "b", "reorder-timeout": "300ms" });
        let at: AtBroker = serde_json::from_value(at).unwrap();
        let (intake, deliveries) = Intake::bounded(8);
        let (wanted, receiver) = watch::channel(Arc::default());
        let notes = Arc::new(Notes::default());
        let stop = CancellationToken::new();
        let floor = Floor::bare(intake, receiver, Arc::clone(&notes) as _, stop.clone());
        let link = Box::new(Link::new(broker, at, vec![(name(), settings)]));
        let task = tokio::spawn(link.run(floor));
        Self { notes, wanted, stop, deliveries, waiting: VecDeque::new(), task }
    }

    /// The next signal; what it came with is durable at once.
    pub(crate) async fn next(&mut self) -> Signal {
        loop {
            if let Some(signal) = self.waiting.pop_front() {
                return signal;
            }
            let delivery = within("a delivery", self.deliveries.recv()).await.unwrap();
            let _ = delivery.receipt.send(Vec::new());
            self.waiting.extend(delivery.signals);
        }
    }

    /// Skips to this, past births that tell the state before it.
    pub(crate) async fn until(&mut self, said: &Said) {
        while self.next().await.said != *said {}
    }

    pub(crate) async fn until_up(&mut self) {
        while !matches!(self.next().await.said, Said::LinkUp { resumed: false }) {}
    }

    /// Skips to the next link-lost, and gives its words.
    pub(crate) async fn until_lost(&mut self) -> String {
        loop {
            if let Said::LinkLost { why } = self.next().await.said {
                return why;
            }
        }
    }

    /// Lets the lock permit, or not.
    pub(crate) fn want(&self, permits: bool) {
        let mut wanted = Wanted::default();
        if permits {
            wanted.permit(name(), OutputName::new("lock").unwrap());
        }
        self.wanted.send_replace(Arc::new(wanted));
    }

    /// Stops it in order while nothing is taken any more.
    pub(crate) async fn stop(self) {
        self.stop.cancel();
        within("the link's end", self.task).await.unwrap();
    }

    /// Waits until it ends by itself.
    pub(crate) async fn ended(self) {
        drop(self.deliveries);
        within("the link's end", self.task).await.unwrap();
    }
}
