//! A gateway that collects deliveries and answers receipts when a test says so.

use std::collections::VecDeque;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::{Duration, Instant};

use serde_json::{Value, json};
use stencilward_adapters::link::{Delivery, Floor, Intake, Link as _};
use stencilward_adapters::mqtt::{Broker, Link, Settings};
use stencilward_domain::names::MachineName;
use stencilward_domain::outputs::Wanted;
use stencilward_domain::signal::{Said, Signal};
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;

pub(crate) use crate::blocking::within_sync;
pub(crate) use crate::notes::Notes;
pub(crate) use crate::patience::{until, within};

pub(crate) fn name(text: &str) -> MachineName {
    MachineName::new(text).unwrap()
}

/// Settings without a fault.
pub(crate) fn settings(messages: &Value, outputs: &Value) -> Settings {
    let settings = json!({ "broker": "b", "messages": messages, "outputs": outputs });
    let settings: Settings = serde_json::from_value(settings).unwrap();
    assert_eq!(settings.check(), Vec::new());
    settings
}

/// A printer that sends its total as plain text on `p/total`.
pub(crate) fn printer() -> Settings {
    let total = json!({ "topic": "p/total", "signal": "stroke-total", "width": 32 });
    settings(&json!([total]), &json!([]))
}

pub(crate) fn broker(address: SocketAddr) -> Broker {
    let broker = json!({
        "name": "b", "address": address.to_string(), "client": "gateway", "keep-alive": "2s",
        "largest-message": 4096,
    });
    let broker: Broker = serde_json::from_value(broker).unwrap();
    assert_eq!(broker.check(), Vec::new());
    broker
}

/// A link at work, and everything it was given.
pub(crate) struct Gateway {
    pub(crate) notes: Arc<Notes>,
    pub(crate) wanted: watch::Sender<Arc<Wanted>>,
    pub(crate) stop: CancellationToken,
    pub(crate) deliveries: mpsc::Receiver<Delivery>,
    waiting: VecDeque<Signal>,
    task: JoinHandle<()>,
}

impl Gateway {
    pub(crate) fn start(address: SocketAddr, settings: Settings) -> Self {
        Self::with(broker(address), settings, 64)
    }

    pub(crate) fn with(broker: Broker, settings: Settings, capacity: usize) -> Self {
        Self::of(broker, vec![(name("printer-1"), settings)], capacity)
    }

    pub(crate) fn of(
        broker: Broker,
        machines: Vec<(MachineName, Settings)>,
        capacity: usize,
    ) -> Self {
        let (intake, deliveries) = Intake::bounded(capacity);
        let (wanted, receiver) = watch::channel(Arc::default());
        let notes = Arc::new(Notes::default());
        let stop = CancellationToken::new();
        let floor = Floor::bare(intake, receiver, Arc::clone(&notes) as _, stop.clone());
        let link = Box::new(Link::new(broker, machines));
        let task = tokio::spawn(link.run(floor));
        Self { notes, wanted, stop, deliveries, waiting: VecDeque::new(), task }
    }

    /// Starts it and waits until the broker lets it in.
    pub(crate) async fn up(address: SocketAddr, settings: Settings) -> Self {
        let mut gateway = Self::start(address, settings);
        gateway.hear_up().await;
        gateway
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
            let _ = delivery.receipt.send(Vec::new());
            self.waiting.extend(delivery.signals);
        }
    }

    /// The next signal that does not tell of a link.
    pub(crate) async fn next_but_link(&mut self) -> Signal {
        loop {
            let signal = self.next().await;
            if !matches!(signal.said, Said::LinkUp { .. } | Said::LinkLost { .. }) {
                return signal;
            }
        }
    }

    /// Skips to the next link-up, and says whether the session was kept.
    pub(crate) async fn hear_up(&mut self) -> bool {
        loop {
            if let Said::LinkUp { resumed } = self.next().await.said {
                return resumed;
            }
        }
    }

    /// Skips to the next link-lost, and gives its words.
    pub(crate) async fn hear_lost(&mut self) -> String {
        loop {
            if let Said::LinkLost { why } = self.next().await.said {
                return why;
            }
        }
    }

    /// The next totals, durable at once.
    pub(crate) async fn totals(&mut self, count: usize) -> Vec<u64> {
        let mut totals = Vec::new();
        while totals.len() < count {
            totals.extend(total(&self.next().await));
        }
        totals
    }

    /// Stops it in order, and says how long that took.
    pub(crate) async fn stop(self) -> Duration {
        let begun = Instant::now();
        self.stop.cancel();
        let Self { mut deliveries, task, .. } = self;
        let answering = tokio::spawn(async move {
            while let Some(delivery) = deliveries.recv().await {
                let _ = delivery.receipt.send(Vec::new());
            }
        });
        within("the link's end", task).await.unwrap();
        let took = begun.elapsed();
        answering.abort();
        took
    }

    /// Stops it in order while nothing is taken or answered any more.
    pub(crate) async fn stop_deaf(self) -> Duration {
        let begun = Instant::now();
        self.stop.cancel();
        within("the link's end", self.task).await.unwrap();
        begun.elapsed()
    }

    /// Waits until it ends by itself.
    pub(crate) async fn ended(self) {
        drop(self.deliveries);
        within("the link's end", self.task).await.unwrap();
    }

    /// Ends it as a killed process would.
    pub(crate) async fn kill(self) {
        self.task.abort();
        let _ = self.task.await;
    }
}

/// The total that a signal reads.
pub(crate) fn total(signal: &Signal) -> Option<u64> {
    match signal.said {
        Said::CounterRead { raw, .. } => Some(raw),
        _ => None,
    }
}
