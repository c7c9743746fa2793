//! Takes snapshots as the site goes on.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::{Duration, Instant};

use stencilward_domain::event::Position;
use stencilward_domain::site::Site;
use stencilward_ledger::Ledger;
use tokio::task::{JoinHandle, spawn_blocking};

use super::Snapshot;
use super::file::{self, Head};
use crate::metrics::Follower;

/// Events after which the next is taken: read in a moment.
const EVERY: u64 = 50_000;

/// Least time between two, however fast events come: a snapshot waits for the disk, as events do.
const PAUSE: Duration = Duration::from_secs(60);

/// Takes a snapshot now and then, one at a time.
pub(crate) struct Taker {
    ledger: Arc<dyn Ledger>,
    file: PathBuf,
    last: Position,
    taken: Instant,
    writing: Option<JoinHandle<()>>,
}

impl Taker {
    /// One that puts them into this file. `last`: up to where the file reaches already.
    pub(crate) fn new(ledger: Arc<dyn Ledger>, file: PathBuf, last: Position) -> Self {
        Self { ledger, file, last, taken: Instant::now(), writing: None }
    }

    /// Takes one if it is time. All of the site's events are durable.
    pub(crate) fn follow(&mut self, site: &Site, follower: &Follower) {
        let fresh = site.state().head.0.saturating_sub(self.last.0);
        let due = fresh >= EVERY && self.taken.elapsed() >= PAUSE;
        if due && self.writing.as_ref().is_none_or(JoinHandle::is_finished) {
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
        (self.last, self.taken) = (site.state().head, Instant::now());
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

#[cfg(test)]
mod tests {
    use stencilward_domain::plant::Plant;
    use stencilward_domain::state::State;
    use stencilward_ledger::SqliteLedger;

    use super::*;
    use crate::metrics::Metrics;

    fn site(head: u64) -> Site {
        let mut site = Site::new(Plant::default());
        site.recall(State { head: Position(head), ..State::default() });
        site
    }

    #[tokio::test]
    async fn it_is_taken_after_many_events_and_not_too_often() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("plant.db.snapshot");
        let ledger = Arc::new(SqliteLedger::open(&folder.path().join("plant.db")).unwrap());
        let follower = Follower::new(Arc::new(Metrics::new().unwrap()), 10);
        let mut taker = Taker::new(ledger, file.clone(), Position(0));
        taker.follow(&site(EVERY), &follower);
        assert!(taker.writing.is_none(), "too soon after the start");
        taker.taken = taker.taken.checked_sub(PAUSE).unwrap();
        taker.follow(&site(EVERY - 1), &follower);
        assert!(taker.writing.is_none(), "too few events");
        taker.follow(&site(EVERY), &follower);
        taker.writing.take().unwrap().await.unwrap();
        let (head, snapshot) = file::read(&file).unwrap().unwrap();
        assert_eq!((head.position, snapshot.state.head), (Position(EVERY), Position(EVERY)));
        taker.follow(&site(2 * EVERY), &follower);
        assert!(taker.writing.is_none(), "too soon after the last");
        taker.end(&site(2 * EVERY), &follower).await;
        let (head, _) = file::read(&file).unwrap().unwrap();
        assert_eq!(head.position, Position(2 * EVERY), "the last one in any case");
    }
}
