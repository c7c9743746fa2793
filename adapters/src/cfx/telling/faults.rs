//! The alarms that stand, told as faults: what this way was told of them, and what is new.

use std::collections::BTreeSet;
use std::future::pending;

use serde_json::Value;
use stencilward_domain::alarm::ActiveAlarm;
use tokio::sync::watch;

use super::Outlet;
use crate::cfx::announce::fault::{cleared, fault, is_told, occurred, occurrence};
use crate::cfx::desk::Desk;
use crate::cfx::json::Garbled;
use crate::cfx::settings::Publish;
use crate::link::Standing;

/// The alarms, as one way tells them. Not durable: a gateway that starts again tells all that
/// stand, and of what ended meanwhile the heartbeat's list says that it is gone.
pub(super) struct Faults {
    handle: String,
    /// None where they are not to be told, or nobody knows them.
    standing: Option<watch::Receiver<Standing>>,
    /// Occurrences told and not cleared.
    told: BTreeSet<String>,
}

impl Faults {
    pub(super) fn new(desk: &Desk, publish: &Publish) -> Self {
        let standing = desk.floor.alarms.clone().filter(|_| publish.alarms);
        Self { handle: desk.endpoint.handle.clone(), standing, told: BTreeSet::new() }
    }

    /// All of them; none where they are not known.
    pub(super) fn all(&self) -> Option<Vec<Value>> {
        let standing = self.standing.as_ref()?.borrow().clone();
        Some(told(&standing).map(|alarm| fault(&self.handle, alarm)).collect())
    }

    /// Waits until they change.
    pub(super) async fn change(&mut self) {
        let changed = match &mut self.standing {
            Some(standing) => standing.changed().await.is_ok(),
            None => false,
        };
        if !changed {
            pending::<()>().await;
        }
    }

    /// Tells what is new of them; with `anew` also what was told before.
    ///
    /// # Errors
    /// When the way does not take it: it is told the next time.
    pub(super) async fn tell(&mut self, way: &mut impl Outlet, anew: bool) -> Result<(), Garbled> {
        let Some(standing) = &mut self.standing else { return Ok(()) };
        let standing = standing.borrow_and_update().clone();
        let now: Vec<(String, &ActiveAlarm)> =
            told(&standing).map(|alarm| (occurrence(&self.handle, alarm), alarm)).collect();
        let there: BTreeSet<&String> = now.iter().map(|(occurrence, _)| occurrence).collect();
        let gone: Vec<String> =
            self.told.iter().filter(|occurrence| !there.contains(occurrence)).cloned().collect();
        for occurrence in gone {
            way.put(&cleared(&self.handle, &occurrence)).await?;
            self.told.remove(&occurrence);
        }
        for (occurrence, alarm) in now {
            if anew || !self.told.contains(&occurrence) {
                way.put(&occurred(&self.handle, alarm)).await?;
                self.told.insert(occurrence);
            }
        }
        Ok(())
    }
}

fn told(standing: &Standing) -> impl Iterator<Item = &ActiveAlarm> {
    standing.iter().filter(|alarm| is_told(alarm))
}
