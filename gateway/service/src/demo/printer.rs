//! A simulated printer: prints only while its lock permits, and counts for itself.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use stencilward_adapters::simulated::{CannotSay, Simulated};
use stencilward_domain::names::{CounterName, MachineName, OutputName, StencilCode};
use stencilward_domain::signal::{Reading, Said, Width};
use tokio::sync::watch;
use tokio::time::{sleep, timeout};

use crate::plant::tally::Tally;

/// How a printer tells its strokes.
#[derive(Debug, Clone)]
pub enum Counting {
    /// A total that wraps.
    Total {
        /// Which counter.
        counter: CounterName,
        /// Where it wraps.
        width: Width,
    },
    /// Each stroke by itself.
    Each,
}

/// A simulated printer.
pub struct Printer {
    name: MachineName,
    machine: Arc<dyn Simulated>,
    lock: watch::Receiver<bool>,
    counting: Counting,
    cycle: Duration,
    total: AtomicU64,
    tally: Arc<Tally>,
}

impl Printer {
    /// A printer on `machine` whose lock is the output `lock`; its counter stands at `total`.
    ///
    /// # Errors
    /// When the machine's settings name no such output.
    pub fn new(
        (name, machine): (MachineName, Arc<dyn Simulated>),
        lock: &OutputName,
        counting: Counting,
        cycle: Duration,
        total: u64,
        tally: Arc<Tally>,
    ) -> Result<Self, CannotSay> {
        let lock = machine.output(lock)?;
        Ok(Self { name, machine, lock, counting, cycle, total: AtomicU64::new(total), tally })
    }

    /// Says where its counter stands, as a printer does when it is switched on.
    ///
    /// # Errors
    /// When the machine cannot say it.
    pub async fn switch_on(&self) -> Result<(), CannotSay> {
        match &self.counting {
            Counting::Total { .. } => self.tell_strokes(0).await,
            Counting::Each => Ok(()),
        }
    }

    /// Puts a stencil in.
    ///
    /// # Errors
    /// When the machine cannot say it.
    pub async fn seat(&self, code: &StencilCode) -> Result<(), CannotSay> {
        self.machine.say(&Said::Seated { code: code.clone() }, None).await
    }

    /// Takes the stencil out.
    ///
    /// # Errors
    /// When the machine cannot say it.
    pub async fn remove(&self) -> Result<(), CannotSay> {
        self.machine.say(&Said::Removed, None).await
    }

    /// Prints up to `boards` boards with what is seated, one stroke each. Stops when the lock
    /// has refused for `patience`. Gives the strokes made.
    ///
    /// # Errors
    /// When the machine cannot say it.
    pub async fn print(
        &self,
        code: &StencilCode,
        boards: u64,
        patience: Duration,
        mut go_on: impl FnMut() -> bool,
    ) -> Result<u64, CannotSay> {
        let mut lock = self.lock.clone();
        for made in 0..boards {
            let permitted = timeout(patience, lock.wait_for(|permits| *permits)).await;
            // What it gives holds a lock on the output: it must not outlive this line.
            let permitted = permitted.is_ok_and(|permits| permits.is_ok());
            if !permitted || !go_on() {
                return Ok(made);
            }
            sleep(self.cycle).await;
            self.tally.stroke(&self.name, code);
            self.tell_strokes(1).await?;
        }
        Ok(boards)
    }

    async fn tell_strokes(&self, count: u64) -> Result<(), CannotSay> {
        let total = self.total.fetch_add(count, Ordering::SeqCst) + count;
        match &self.counting {
            Counting::Total { counter, width } => {
                let raw = match width {
                    Width::Bits64 => total,
                    narrower => total % (narrower.largest() + 1),
                };
                let (counter, width) = (counter.clone(), *width);
                let reading = Reading::Reported;
                self.machine.say(&Said::CounterRead { counter, raw, width, reading }, None).await
            }
            Counting::Each => {
                let identity = total.to_string();
                self.machine.say(&Said::StrokesDone { count }, Some(&identity)).await
            }
        }
    }
}
