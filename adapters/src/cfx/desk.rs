//! What all connections of an endpoint share: the machines they hear, and the way to the gateway.

use std::collections::BTreeSet;
use std::sync::Arc;

use stencilward_domain::decision::Decision;
use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::signal::Signal;
use tokio::sync::Mutex;
use tokio::time::Instant;

use super::envelope::Envelope;
use super::hearing::{Deed, Hearing, Moment, Way};
use super::settings::{Endpoint, Settings};
use crate::link::{Floor, Receipt, Trouble, now};

/// Nobody takes signals any more, or the order to stop has come.
#[derive(Debug, Clone, Copy)]
pub(super) struct Over;

/// The machines of an endpoint, and where their signals go.
pub(super) struct Desk {
    pub(super) endpoint: Endpoint,
    pub(super) floor: Floor,
    /// Held until what follows from a message is handed over, so that what one machine says over
    /// two connections is handed over in one order.
    hearing: Mutex<Hearing>,
    begun: Instant,
}

impl Desk {
    pub(super) fn new(
        endpoint: Endpoint,
        machines: &[(MachineName, Settings)],
        floor: Floor,
    ) -> Arc<Self> {
        let hearing = Mutex::new(Hearing::new(machines));
        Arc::new(Self { endpoint, floor, hearing, begun: Instant::now() })
    }

    /// Takes in messages that came together. Gives what they wait for, if anything follows.
    pub(super) async fn hear(
        &self,
        envelopes: &[Envelope],
        way: Way,
    ) -> Result<Option<Receipt>, Over> {
        let begun = Instant::now();
        let mut hearing = self.hearing.lock().await;
        let mut signals = Vec::new();
        let mut heard = BTreeSet::new();
        // What the gateway said itself may come back through a broker.
        for envelope in envelopes.iter().filter(|said| said.source != self.endpoint.handle) {
            for deed in hearing.hear(envelope, way, self.now()) {
                signals.extend(self.told(deed));
            }
            heard.extend(hearing.of(&envelope.source).map(|(machine, _)| machine.clone()));
        }
        let receipt = match signals.is_empty() {
            true => None,
            false => Some(self.deliver(signals).await?),
        };
        drop(hearing);
        for machine in heard {
            self.floor.observer.round(&machine, begun.elapsed());
        }
        Ok(receipt)
    }

    pub(super) async fn broker_lost(&self, why: &str, first_time: bool) -> Result<(), Over> {
        let mut hearing = self.hearing.lock().await;
        let deeds = hearing.broker_lost(why, first_time, self.now());
        self.act(deeds).await
    }

    pub(super) async fn connection_ended(&self, number: u64) -> Result<(), Over> {
        let mut hearing = self.hearing.lock().await;
        let deeds = hearing.connection_ended(number, self.now());
        self.act(deeds).await
    }

    /// Lets time pass, until the order to stop: machines whose heartbeats stay out are lost.
    pub(super) async fn watch(&self) {
        /// Between two looks while nothing is due.
        const PACE: std::time::Duration = std::time::Duration::from_millis(500);
        loop {
            tokio::select! {
                () = self.floor.stop.cancelled() => return,
                () = tokio::time::sleep(PACE) => {}
            }
            let mut hearing = self.hearing.lock().await;
            let deeds = hearing.tick(self.now());
            if self.act(deeds).await.is_err() {
                return;
            }
        }
    }

    /// Looks at the machine of a handle.
    pub(super) async fn machine<T>(
        &self,
        handle: &str,
        look: impl FnOnce(Option<(&MachineName, &Settings)>) -> T,
    ) -> T {
        look(self.hearing.lock().await.of(handle))
    }

    /// Asks the gateway, and waits until the answers are durable.
    pub(super) async fn decide(&self, signals: Vec<Signal>) -> Result<Vec<Decision>, Over> {
        let receipt = self.deliver(signals).await?;
        tokio::select! {
            () = self.floor.stop.cancelled() => Err(Over),
            decisions = receipt.durable() => decisions.map_err(|_| Over),
        }
    }

    /// True while an output permits. What was answered is told.
    pub(super) fn permits(&self, machine: &MachineName, output: &OutputName) -> bool {
        let permits = self.floor.wanted.borrow().permits(machine, output);
        self.floor.observer.output(machine, output, permits, None);
        permits
    }

    /// Counts a trouble of a whole connection once, for the first machine. An endpoint that hears
    /// none can only log it.
    pub(super) async fn trouble(&self, kind: Trouble, why: String) {
        match self.hearing.lock().await.first() {
            Some(machine) => self.floor.observer.trouble(machine, kind, &why),
            None => tracing::warn!(endpoint = self.endpoint.name, kind = kind.as_str(), "{why}"),
        }
    }

    async fn act(&self, deeds: Vec<Deed>) -> Result<(), Over> {
        for deed in deeds {
            let signals = self.told(deed);
            if !signals.is_empty() {
                self.deliver(signals).await?;
            }
        }
        Ok(())
    }

    /// Counts what is a trouble; gives what is to be delivered.
    fn told(&self, deed: Deed) -> Vec<Signal> {
        match deed {
            Deed::Deliver(signals) => signals,
            Deed::Trouble(machine, kind, why) => {
                self.floor.observer.trouble(&machine, kind, &why);
                vec![]
            }
        }
    }

    async fn deliver(&self, signals: Vec<Signal>) -> Result<Receipt, Over> {
        tokio::select! {
            biased;
            () = self.floor.stop.cancelled() => Err(Over),
            receipt = self.floor.intake.deliver(signals) => receipt.map_err(|_| Over),
        }
    }

    fn now(&self) -> Moment {
        Moment { at: now(), clock: self.begun.elapsed() }
    }
}
