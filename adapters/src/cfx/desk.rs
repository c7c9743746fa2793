//! What all connections of an endpoint share: the machines they hear, and the way to the gateway.

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

    /// Takes in messages that came together. Gives what they wait for.
    pub(super) async fn hear(
        &self,
        envelopes: &[Envelope],
        way: Way,
    ) -> Result<Vec<Receipt>, Over> {
        let mut receipts = Vec::new();
        for envelope in envelopes {
            let begun = Instant::now();
            let mut hearing = self.hearing.lock().await;
            let deeds = hearing.hear(envelope, way, self.now());
            let machine = hearing.of(&envelope.source).map(|(machine, _)| machine.clone());
            receipts.extend(self.act(deeds).await?);
            drop(hearing);
            if let Some(machine) = machine {
                self.floor.observer.round(&machine, begun.elapsed());
            }
        }
        Ok(receipts)
    }

    pub(super) async fn broker_lost(&self, why: &str, first_time: bool) -> Result<(), Over> {
        let mut hearing = self.hearing.lock().await;
        let deeds = hearing.broker_lost(why, first_time, self.now());
        self.act(deeds).await.map(drop)
    }

    pub(super) async fn connection_ended(&self, number: u64) -> Result<(), Over> {
        let mut hearing = self.hearing.lock().await;
        let deeds = hearing.connection_ended(number, self.now());
        self.act(deeds).await.map(drop)
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

    /// Counts a trouble of a whole connection once, for the first machine.
    pub(super) async fn trouble(&self, kind: Trouble, why: String) {
        if let Some(Deed::Trouble(machine, kind, why)) =
            self.hearing.lock().await.trouble(kind, why)
        {
            self.floor.observer.trouble(&machine, kind, &why);
        }
    }

    async fn act(&self, deeds: Vec<Deed>) -> Result<Vec<Receipt>, Over> {
        let mut receipts = Vec::new();
        for deed in deeds {
            match deed {
                Deed::Trouble(machine, kind, why) => {
                    self.floor.observer.trouble(&machine, kind, &why);
                }
                Deed::Deliver(_, signals) => receipts.push(self.deliver(signals).await?),
            }
        }
        Ok(receipts)
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
