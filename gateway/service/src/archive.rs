//! Answers from the ledger what pages ask of the past.

mod recent;
mod summing;

use std::sync::Arc;

use async_trait::async_trait;
use stencilward_config::Configuration;
use stencilward_domain::event::{Position, Recorded, Stream};
use stencilward_ledger::{Ledger, LedgerError};
use stencilward_web::{Archive, News, Sums, Unread};
use tokio::sync::watch;
use tokio_util::sync::CancellationToken;

use recent::Recent;
use summing::{Sum, Summing};

/// The ledger as pages see it.
pub(crate) struct Past {
    ledger: Arc<dyn Ledger>,
    recent: Recent,
    sum: watch::Receiver<Sum>,
    stop: CancellationToken,
}

impl Past {
    /// `stop`: cancelled when nobody shall wait for news any more.
    pub(crate) fn shared(
        ledger: Arc<dyn Ledger>,
        configuration: &Configuration,
        stop: CancellationToken,
    ) -> Arc<dyn Archive> {
        let (summing, sum) = Summing::new(Arc::clone(&ledger), configuration);
        tokio::spawn(summing.run(stop.clone()));
        Arc::new(Self { ledger, recent: Recent::default(), sum, stop })
    }
}

fn unread(error: &LedgerError) -> Unread {
    Unread(crate::chain(error))
}

#[async_trait]
impl Archive for Past {
    fn head(&self) -> Position {
        *self.ledger.head().borrow()
    }

    async fn news(&self, after: Position) -> Option<News> {
        let mut head = self.ledger.head();
        tokio::select! {
            () = self.stop.cancelled() => return None,
            moved = head.wait_for(|head| *head > after) => drop(moved.ok()?),
        };
        // Whoever fell far behind is told the last part only: a page shows what is, not what was.
        let events = self.recent.after(&*self.ledger, after).await.ok()?;
        let head = events.first()?.position;
        let streams = events.iter().map(|one| one.fact.event.stream().to_string()).collect();
        Some(News { head, streams })
    }

    async fn event(&self, position: Position) -> Result<Option<Recorded>, Unread> {
        summing::at(&*self.ledger, position).await.map_err(|error| unread(&error))
    }

    async fn after(&self, position: Position, limit: usize) -> Result<Vec<Recorded>, Unread> {
        let entries = self.ledger.read(position, limit).await.map_err(|error| unread(&error))?;
        Ok(entries.into_iter().map(|entry| entry.recorded).collect())
    }

    async fn of_stream(&self, stream: &Stream, limit: usize) -> Result<Vec<Recorded>, Unread> {
        let entries = self.ledger.read_stream_back(stream, limit).await;
        let entries = entries.map_err(|error| unread(&error))?;
        Ok(entries.into_iter().map(|entry| entry.recorded).collect())
    }

    async fn recent(&self, limit: usize) -> Result<Vec<Arc<Recorded>>, Unread> {
        self.recent.last(&*self.ledger, limit).await.map_err(|error| unread(&error))
    }

    fn sums(&self) -> Result<Option<Arc<Sums>>, Unread> {
        self.sum.borrow().clone().transpose()
    }
}
