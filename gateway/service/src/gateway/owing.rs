//! The way of the links to what brokers are owed.

use std::sync::Arc;
use std::time::Duration;

use async_trait::async_trait;
use stencilward_adapters::link::{Due, Owing};
use stencilward_config::Configuration;
use stencilward_ledger::{Ledger, LedgerError};
use tokio::sync::mpsc;

use crate::notices::Told;

/// Brokers that may wait to be told everything anew.
const FORGETFUL: usize = 8;

/// Wait before the ledger is read again after that failed.
const RESPITE: Duration = Duration::from_secs(1);

/// Drops what is owed to brokers that are no longer told of anything. What cannot be dropped now
/// stays until the next time.
pub(super) async fn owe_only_the_told(ledger: &dyn Ledger, configuration: &Configuration) {
    match ledger.owe_only(Told::by(configuration).all()).await {
        Ok(gone) => gone.into_iter().for_each(|broker| {
            tracing::info!(broker, "it is told nothing any more: what it was owed is dropped");
        }),
        Err(error) => tracing::warn!(%error, "what is owed to brokers that are gone stays"),
    }
}

/// What the ledger keeps as owed.
pub(super) struct Debts {
    ledger: Arc<dyn Ledger>,
    forgetful: mpsc::Sender<String>,
}

impl Debts {
    /// And for the site task the brokers that are owed everything anew.
    pub(super) fn new(ledger: Arc<dyn Ledger>) -> (Self, mpsc::Receiver<String>) {
        let (forgetful, brokers) = mpsc::channel(FORGETFUL);
        (Self { ledger, forgetful }, brokers)
    }

    async fn read(&self, to: &str, after: u64, limit: usize) -> Result<Vec<Due>, LedgerError> {
        let mut owing = self.ledger.owing();
        loop {
            owing.mark_unchanged();
            let due = self.ledger.due(to, after, limit).await?;
            if !due.is_empty() {
                let due = due.into_iter().map(|due| Due {
                    number: due.number,
                    about: due.owed.about,
                    body: due.owed.body,
                    retain: due.owed.replaces,
                });
                return Ok(due.collect());
            }
            owing.changed().await.map_err(|_| LedgerError::Closed)?;
        }
    }
}

#[async_trait]
impl Owing for Debts {
    async fn owe_all(&self, broker: &str) {
        // A site task that has ended owes nothing new.
        let _ = self.forgetful.send(broker.to_owned()).await;
    }

    async fn due(&self, broker: &str, after: u64, limit: usize) -> Vec<Due> {
        loop {
            match self.read(broker, after, limit).await {
                Ok(due) => return due,
                Err(LedgerError::Closed) => return std::future::pending().await,
                Err(error) => tracing::warn!(%error, broker, "cannot read what it is owed"),
            }
            tokio::time::sleep(RESPITE).await;
        }
    }

    async fn delivered(&self, numbers: Vec<u64>) {
        if let Err(error) = self.ledger.delivered(numbers).await {
            tracing::debug!(%error, "what was delivered is delivered again");
        }
    }
}
