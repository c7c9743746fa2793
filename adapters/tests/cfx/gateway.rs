//! A link with a listener at work whose deliveries a test takes.

use std::collections::VecDeque;
use std::net::{SocketAddr, TcpListener};
use std::sync::Arc;

use serde_json::{Value, json};
use stencilward_adapters::cfx::{AtBroker, Endpoint, Link, Machine, Settings};
use stencilward_adapters::link::{Delivery, Floor, Intake, Link as _};
use stencilward_adapters::simulated::Simulated as _;
use stencilward_domain::decision::Decision;
use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::outputs::Wanted;
use stencilward_domain::signal::{Said, Signal};
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

use crate::fixtures::{PRINTER, settings};
pub(crate) use crate::notes::Notes;
pub(crate) use crate::patience::{until, within};

/// The gateway's handle.
pub(crate) const GATEWAY: &str = "Invented.Gateway.1";

pub(crate) fn name(text: &str) -> MachineName {
    MachineName::new(text).unwrap()
}

/// A printer that tells of its strokes and its stencil, and asks before each panel.
pub(crate) fn printer() -> Settings {
    settings(
        PRINTER,
        json!({
            "signals": ["strokes-done", "stencil-seated"], "missed-heartbeats": 2,
            "outputs": [{ "name": "next", "drive": "print-permit", "by": "unit-validation" }],
        }),
    )
}

pub(crate) fn rack() -> Settings {
    settings("Invented.Rack.SN4", json!({ "tool-check": "store" }))
}

/// An address of loopback that was free a moment ago.
pub(crate) fn free_address() -> SocketAddr {
    TcpListener::bind(("127.0.0.1", 0)).unwrap().local_addr().unwrap()
}

/// An endpoint that listens there.
pub(crate) fn endpoint(address: SocketAddr, listen: &Value) -> Endpoint {
    let mut to = json!({ "address": address.to_string(), "targets": ["/exchange/works"] });
    to.as_object_mut().unwrap().extend(listen.as_object().unwrap().clone());
    let endpoint = json!({
        "name": "floor", "handle": GATEWAY, "listen": to, "idle-time-out": "10s",
        "largest-message": 65_536, "largest-text": 65_536,
    });
    let endpoint: Endpoint = serde_json::from_value(endpoint).unwrap();
    assert_eq!(endpoint.check(), Vec::new());
    endpoint
}

/// How that is reached.
pub(crate) fn way(address: SocketAddr, more: &Value) -> AtBroker {
    let mut at = json!({ "address": address.to_string(), "sources": [] });
    at.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    serde_json::from_value(at).unwrap()
}

/// A link at work, and everything it was given.
pub(crate) struct Gateway {
    pub(crate) address: SocketAddr,
    pub(crate) notes: Arc<Notes>,
    pub(crate) wanted: watch::Sender<Arc<Wanted>>,
    pub(crate) deliveries: mpsc::Receiver<Delivery>,
    /// What a question is answered with.
    pub(crate) decisions: Vec<Decision>,
    stop: CancellationToken,
    waiting: VecDeque<Signal>,
    task: JoinHandle<()>,
}

impl Gateway {
    pub(crate) fn start() -> Self {
        let machines = vec![(name("printer-1"), printer()), (name("rack-1"), rack())];
        Self::of(endpoint(free_address(), &json!({})), machines, 8)
    }

    pub(crate) fn of(
        endpoint: Endpoint,
        machines: Vec<(MachineName, Settings)>,
        capacity: usize,
    ) -> Self {
        let address = endpoint.listen.as_ref().map(|listen| listen.address.parse().unwrap());
        let (intake, deliveries) = Intake::bounded(capacity);
        let (wanted, receiver) = watch::channel(Arc::default());
        let notes = Arc::new(Notes::default());
        let stop = CancellationToken::new();
        let floor = Floor::bare(intake, receiver, Arc::clone(&notes) as _, stop.clone());
        let task = tokio::spawn(Box::new(Link::new(endpoint, machines)).run(floor));
        let address = address.unwrap_or_else(free_address);
        let (decisions, waiting) = (Vec::new(), VecDeque::new());
        Self { address, notes, wanted, deliveries, decisions, stop, waiting, task }
    }

    pub(crate) fn printer(&self) -> Machine {
        Machine::start(self.address, GATEWAY, &name("printer-1"), printer())
    }

    /// The next delivery, its receipt not answered.
    pub(crate) async fn take(&mut self) -> Delivery {
        within("a delivery", self.deliveries.recv()).await.unwrap()
    }

    /// The next signal; what it came with is durable at once.
    pub(crate) async fn next(&mut self) -> Signal {
        loop {
            if let Some(signal) = self.waiting.pop_front() {
                return signal;
            }
            let delivery = self.take().await;
            let _ = delivery.receipt.send(self.decisions.clone());
            self.waiting.extend(delivery.signals);
        }
    }

    /// The next thing said that does not tell of a link.
    pub(crate) async fn next_but_link(&mut self) -> Said {
        loop {
            let said = self.next().await.said;
            if !matches!(said, Said::LinkUp { .. } | Said::LinkLost { .. }) {
                return said;
            }
        }
    }

    pub(crate) async fn until_up(&mut self) {
        while !matches!(self.next().await.said, Said::LinkUp { .. }) {}
    }

    /// Skips to the next link-lost with this word. On a busy computer there may be others.
    pub(crate) async fn until_lost(&mut self, word: &str) {
        loop {
            if let Said::LinkLost { why } = self.next().await.said
                && why.contains(word)
            {
                return;
            }
        }
    }

    /// Lets the printer print, or not.
    pub(crate) fn want(&self, permits: bool) {
        let mut wanted = Wanted::default();
        if permits {
            wanted.permit(name("printer-1"), OutputName::new("next").unwrap());
        }
        self.wanted.send_replace(Arc::new(wanted));
    }

    /// Stops it in order while what is taken is durable at once.
    pub(crate) async fn stop(self) {
        self.stop.cancel();
        let Self { mut deliveries, task, .. } = self;
        let answering = tokio::spawn(async move {
            while let Some(delivery) = deliveries.recv().await {
                let _ = delivery.receipt.send(Vec::new());
            }
        });
        within("the link's end", task).await.unwrap();
        answering.abort();
    }

    /// Stops it in order while nothing is taken or answered any more.
    pub(crate) async fn stop_deaf(self) {
        self.stop.cancel();
        within("the link's end", self.task).await.unwrap();
    }

    /// Waits until it ends by itself.
    pub(crate) async fn ended(self) {
        drop(self.deliveries);
        within("the link's end", self.task).await.unwrap();
    }
}

pub(crate) fn strokes(count: u64) -> Said {
    Said::StrokesDone { count }
}

/// Says that many strokes, each in a message of its own, with identities from `first`.
pub(crate) async fn say_strokes(machine: &Machine, first: u64, count: u64) {
    for at in first..first + count {
        machine.say(&strokes(1), Some(&format!("id-{at}"))).await.unwrap();
    }
}
