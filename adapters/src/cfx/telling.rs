//! Telling: that the gateway is there, is still there and goes, what alarms it has, and what stencils
//! have counted. Over every way alike; a way is made again by whoever has it.

pub(super) mod broker;
mod faults;
pub(super) mod hall;

use std::sync::Arc;

use tokio::time::{Instant, MissedTickBehavior, interval, sleep_until, timeout};

use super::access::FAREWELL;
use super::announce;
use super::desk::Desk;
use super::envelope::Envelope;
use super::json::Garbled;
use super::settings::Publish;
use crate::link::Due;
use faults::Faults;

/// Counters read at once of what is owed.
const LOT: usize = 64;

/// A way by which something is told.
trait Outlet {
    /// Tells it, and waits until the other side has it.
    async fn put(&mut self, said: &Envelope) -> Result<(), Garbled>;

    /// Waits until somebody is there who has heard nothing yet.
    ///
    /// # Errors
    /// When the way is no more.
    async fn news(&mut self) -> Result<(), Garbled>;
}

/// What is told over one way.
struct Teller {
    desk: Arc<Desk>,
    publish: Publish,
    /// Under which name it is owed counters.
    debtor: String,
}

impl Teller {
    fn new(desk: Arc<Desk>, publish: Publish, debtor: String) -> Self {
        Self { desk, publish, debtor }
    }

    /// Owes the way the counters of every stencil.
    async fn owe_all(&self) {
        if let Some(owing) = self.desk.floor.owing.as_ref().filter(|_| self.publish.counters) {
            owing.owe_all(&self.debtor).await;
        }
    }

    /// Tells until the order to stop, and then that the gateway goes.
    ///
    /// # Errors
    /// When the way is no more, or does not take what is told: nothing of that counts as told.
    async fn tell(&self, faults: &mut Faults, way: &mut impl Outlet) -> Result<(), Garbled> {
        let stop = self.desk.floor.stop.clone();
        if let Some(ended) = stop.run_until_cancelled(self.speak(faults, way)).await {
            return ended;
        }
        let last = announce::shutting_down(&self.desk.endpoint);
        // Who does not hear it misses the heartbeats.
        let _ = timeout(FAREWELL, way.put(&last)).await;
        Ok(())
    }

    async fn speak(&self, faults: &mut Faults, way: &mut impl Outlet) -> Result<(), Garbled> {
        let mut beat = interval(self.publish.heartbeat.0);
        beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let (mut after, mut rest) = (0, Instant::now());
        faults.tell(way, false).await?;
        loop {
            tokio::select! {
                news = way.news() => {
                    news?;
                    self.owe_all().await;
                    faults.tell(way, true).await?;
                    beat.reset_immediately();
                }
                _ = beat.tick() => way.put(&self.heartbeat(faults)).await?,
                () = faults.change() => faults.tell(way, false).await?,
                due = self.due(after, rest) => {
                    if due.len() < LOT {
                        rest = Instant::now() + self.publish.pace.0;
                    }
                    after = due.last().map_or(after, |due| due.number);
                    self.deliver(way, due).await?;
                }
            }
        }
    }

    fn heartbeat(&self, faults: &Faults) -> Envelope {
        let pace = self.publish.heartbeat.0;
        announce::heartbeat(&self.desk.endpoint.handle, pace, faults.all().as_deref())
    }

    /// The next counters that are owed, not before `rest` is over.
    async fn due(&self, after: u64, rest: Instant) -> Vec<Due> {
        let Some(owing) = self.desk.floor.owing.as_ref().filter(|_| self.publish.counters) else {
            return std::future::pending().await;
        };
        sleep_until(rest).await;
        owing.due(&self.debtor, after, LOT).await
    }

    async fn deliver(&self, way: &mut impl Outlet, due: Vec<Due>) -> Result<(), Garbled> {
        let (mut told, mut ended) = (Vec::new(), Ok(()));
        for due in due {
            if let Some(said) = announce::counters(&self.desk.endpoint, &due) {
                ended = way.put(&said).await;
            }
            if ended.is_err() {
                break;
            }
            told.push(due.number);
        }
        if let Some(owing) = &self.desk.floor.owing {
            owing.delivered(told).await;
        }
        ended
    }
}
