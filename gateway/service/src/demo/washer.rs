//! A simulated washer: one stencil at a time.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use stencilward_adapters::simulated::{CannotSay, Simulated};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::signal::{Said, WashOutcome};
use tokio::sync::Mutex;
use tokio::time::sleep;

use crate::plant::tally::Tally;

/// A simulated washer.
pub struct Washer {
    machine: Arc<dyn Simulated>,
    length: Duration,
    chamber: Mutex<()>,
    told: AtomicU64,
    tally: Arc<Tally>,
}

impl Washer {
    /// A washer whose programme takes `length`.
    #[must_use]
    pub fn new(
        (_, machine): (MachineName, Arc<dyn Simulated>),
        length: Duration,
        tally: Arc<Tally>,
    ) -> Self {
        Self { machine, length, chamber: Mutex::new(()), told: AtomicU64::new(0), tally }
    }

    /// Washes a stencil, waiting while the chamber is taken.
    ///
    /// # Errors
    /// When the machine cannot say it.
    pub async fn wash(&self, code: &StencilCode, outcome: WashOutcome) -> Result<(), CannotSay> {
        let _chamber = self.chamber.lock().await;
        let programme = Some("aqueous, two rinses".to_owned());
        let began = Said::WashBegan { code: Some(code.clone()), programme: programme.clone() };
        self.tell(&began).await?;
        sleep(self.length).await;
        if outcome == WashOutcome::Passed {
            self.tally.note(code, |done| done.washes += 1);
        }
        let code = Some(code.clone());
        self.tell(&Said::WashEnded { code, programme, outcome, measured: Vec::new() }).await
    }

    async fn tell(&self, said: &Said) -> Result<(), CannotSay> {
        let identity = self.told.fetch_add(1, Ordering::SeqCst).to_string();
        self.machine.say(said, Some(&identity)).await
    }
}
