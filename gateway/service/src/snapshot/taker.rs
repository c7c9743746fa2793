//! Takes snapshots as the site goes on.

use std::path::PathBuf;
use std::sync::Arc;

use stencilward_domain::event::Position;
use stencilward_domain::site::Site;
use stencilward_ledger::Ledger;
use tokio::task::{JoinHandle, spawn_blocking};

use super::Snapshot;
use super::file::{self, Head};
use crate::metrics::Follower;

/// Events after which the next is taken: read in a moment.
const EVERY: u64 = 50_000;

/// Takes a snapshot now and then, one at a time.
pub(crate) struct Taker {
    ledger: Arc<dyn Ledger>,
    file: PathBuf,
    last: Position,
    writing: Option<JoinHandle<()>>,
}

impl Taker {
    /// One that puts them into this file. `last`: up to where the file reaches already.
    pub(crate) fn new(ledger: Arc<dyn Ledger>, file: PathBuf, last: Position) -> Self {
        Self { ledger, file, last, writing: None }
    }

    /// Takes one if it is time. All of the site's events are durable.
    pub(crate) fn follow(&mut self, site: &Site, follower: &Follower) {
        let fresh = site.state().head.0.saturating_sub(self.last.0);
        if fresh >= EVERY && self.writing.as_ref().is_none_or(JoinHandle::is_finished) {
            self.writing = Some(self.take(site, follower));
        }
    }

    /// Takes the last one, of a site that has ended.
    pub(crate) async fn end(mut self, site: &Site, follower: &Follower) {
        if let Some(writing) = self.writing.take() {
            let _ = writing.await;
        }
        if site.state().head > self.last {
            let _ = self.take(site, follower).await;
        }
    }

    fn take(&mut self, site: &Site, follower: &Follower) -> JoinHandle<()> {
        self.last = site.state().head;
        let snapshot = Snapshot { state: site.state().clone(), counts: follower.counts() };
        let (ledger, file) = (Arc::clone(&self.ledger), self.file.clone());
        tokio::spawn(async move {
            if let Err(error) = write(&*ledger, file, snapshot).await {
                tracing::warn!("no snapshot is taken, a start reads more events: {error:#}");
            }
        })
    }
}

async fn write(ledger: &dyn Ledger, file: PathBuf, snapshot: Snapshot) -> anyhow::Result<()> {
    let head = Head::of(ledger, snapshot.position()).await?;
    spawn_blocking(move || file::write(&file, head, &snapshot)).await??;
    Ok(())
}
