//! What systemd is told: that the gateway is ready, that it moves, and that it stops (sd_notify(3)).
//! Where there is no systemd nobody is told.

use std::time::Duration;

use sd_notify::NotifyState;
use tokio::time::{Interval, MissedTickBehavior, interval};

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
