//! What systemd is told: that the gateway is ready, that it moves, and that it stops (sd_notify(3)).
//! Where there is no systemd nobody is told.

use std::time::Duration;

use sd_notify::NotifyState;
use stencilward_domain::event::Position;
use tokio::time::{Interval, MissedTickBehavior, interval};

use crate::replay::LONG;

/// How long the start may take until it is heard of again, us: a page of events from a slow disk.
const PATIENCE_US: u32 = 60_000_000;

/// Feeds the watchdog, where there is one, in half of its time.
pub(crate) struct Watchdog(Option<Interval>);

impl Watchdog {
    pub(crate) fn new() -> Self {
        let pace = sd_notify::watchdog_enabled().map(|time| time / 2);
        let pace = pace.filter(|pace| *pace > Duration::ZERO);
        Self(pace.map(|pace| {
            let mut feeding = interval(pace);
            feeding.set_missed_tick_behavior(MissedTickBehavior::Delay);
            feeding
        }))
    }

    /// Ends when it is to be fed.
    pub(crate) async fn hungry(&mut self) {
        match &mut self.0 {
            Some(feeding) => drop(feeding.tick().await),
            None => std::future::pending().await,
        }
    }
}

pub(crate) fn ready(status: &str) {
    tell(&[NotifyState::Ready, NotifyState::Status(status)]);
}

/// The start goes on: up to here of the ledger's events are read. Tells people, too, where there are
/// many.
pub(crate) fn reads(at: Position, of: Position) {
    let status = format!("read {} of {} events", at.0, of.0);
    tell(&[NotifyState::ExtendTimeoutUsec(PATIENCE_US), NotifyState::Status(&status)]);
    if at.0.is_multiple_of(LONG) || at == of {
        tracing::info!("{status}");
    }
}

pub(crate) fn moves() {
    tell(&[NotifyState::Watchdog]);
}

pub(crate) fn stops() {
    tell(&[NotifyState::Stopping]);
}

fn tell(states: &[NotifyState<'_>]) {
    if let Err(error) = sd_notify::notify(states) {
        tracing::warn!(%error, "systemd cannot be told how the gateway is");
    }
}
