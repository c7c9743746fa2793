//! Outputs: what is wanted is compared with what the machine shows, and the difference written.

use std::sync::Arc;

use stencilward_domain::names::MachineName;
use stencilward_domain::outputs::Wanted;

use super::bank::Bank;
use super::client::{Client, Failure};
use super::plan::Plan;
use super::wiring::{Lock, Wiring};
use crate::link::{Observer, Trouble};

/// The outputs of one machine.
pub(crate) struct Outputs {
    machine: MachineName,
    observer: Arc<dyn Observer>,
    wiring: Arc<Wiring>,
    shown_at: Plan,
    /// The bit last written to each permit's coil over this connection.
    written: Vec<Option<bool>>,
    /// The beat last shown over this connection.
    beat: Option<u64>,
}

impl Outputs {
    pub(crate) fn new(
        machine: MachineName,
        observer: Arc<dyn Observer>,
        wiring: Arc<Wiring>,
    ) -> Self {
        Self {
            machine,
            observer,
            shown_at: Plan::of_bits(wiring.permits.iter().map(Lock::shown_at)),
            written: vec![None; wiring.permits.len()],
            beat: None,
            wiring,
        }
    }

    /// False when there is nothing to do for them.
    pub(crate) fn are_wired(&self) -> bool {
        !self.wiring.permits.is_empty() || !self.wiring.beats.is_empty()
    }

    /// A new connection: nothing is known of what the machine shows.
    pub(crate) fn start_anew(&mut self) {
        self.written.fill(None);
        self.beat = None;
    }

    /// Makes the outputs what is wanted.
    ///
    /// A write is never repeated here: after a time-out nobody knows whether the machine did it,
    /// so the connection is given up and the next one begins by reading.
    ///
    /// # Errors
    /// When the connection is of no more use. An exception is told and lets the rest go on: one
    /// output wired wrong must not stop the counting.
    pub(crate) async fn settle(
        &mut self,
        client: &mut Client,
        wanted: &Wanted,
    ) -> Result<(), Failure> {
        self.settle_permits(client, wanted).await?;
        self.settle_beats(client, wanted).await
    }

    /// Refuses everywhere, and shows no more beats.
    ///
    /// # Errors
    /// When the connection is of no more use.
    pub(crate) async fn refuse(&mut self, client: &mut Client) -> Result<(), Failure> {
        self.settle_permits(client, &Wanted::default()).await
    }

    async fn settle_permits(
        &mut self,
        client: &mut Client,
        wanted: &Wanted,
    ) -> Result<(), Failure> {
        let wiring = Arc::clone(&self.wiring);
        if wiring.permits.is_empty() {
            return Ok(());
        }
        let shown = self.allow(client.read(&self.shown_at).await)?;
        for (lock, written) in wiring.permits.iter().zip(0..) {
            let permit = wanted.permits(&self.machine, &lock.name);
            let shown = bit_shown(lock, shown.as_ref());
            if shown != Some(lock.bit(permit)) {
                self.write(client, lock, written, permit, shown).await?;
            } else {
                self.report(lock, permit, shown);
            }
        }
        Ok(())
    }

    /// Writes one permit's coil and reads back what the machine makes of it. A machine that does
    /// not let it be read is written to in every round.
    async fn write(
        &mut self,
        client: &mut Client,
        lock: &Lock,
        index: usize,
        permit: bool,
        shown: Option<bool>,
    ) -> Result<(), Failure> {
        let bit = lock.bit(permit);
        if self.allow(client.write_coil(lock.coil, bit).await)?.is_none() {
            self.report(lock, permit, shown);
            return Ok(());
        }
        let before = self.written.get_mut(index).and_then(|last| last.replace(bit));
        let shown = match shown {
            Some(_) => self.allow(client.read_bit(lock.shown_at()).await)?,
            None => None,
        };
        // What the machine does may follow its coil a little later, so it has a round's time.
        let had_time = lock.read_back.is_none() || before == Some(bit);
        if shown == Some(!bit) && had_time {
            let word = if permit { "permit" } else { "refuse" };
            let detail = format!(
                "output {}: written to {word}, but the machine shows the opposite: is it under \
                 local control, does another program write coil {}?",
                lock.name, lock.coil
            );
            self.observer.trouble(&self.machine, Trouble::Disobeyed, &detail);
        }
        self.report(lock, permit, shown);
        Ok(())
    }

    async fn settle_beats(&mut self, client: &mut Client, wanted: &Wanted) -> Result<(), Failure> {
        if self.beat == Some(wanted.beat) {
            return Ok(());
        }
        let wiring = Arc::clone(&self.wiring);
        let mut all = true;
        for beat in &wiring.beats {
            let written = client.write_register(beat.at, beat_word(wanted.beat)).await;
            all &= self.allow(written)?.is_some();
        }
        self.beat = all.then_some(wanted.beat);
        Ok(())
    }

    /// Lets an exception pass as none, after telling of it.
    fn allow<T>(&self, outcome: Result<T, Failure>) -> Result<Option<T>, Failure> {
        match outcome {
            Ok(answer) => Ok(Some(answer)),
            Err(Failure::Exception { why, .. }) => {
                let detail = format!("outputs: {why}");
                self.observer.trouble(&self.machine, Trouble::Exception, &detail);
                Ok(None)
            }
            Err(failure) => Err(failure),
        }
    }

    fn report(&self, lock: &Lock, permit: bool, shown: Option<bool>) {
        let shown = shown.map(|bit| bit == lock.on_permit);
        self.observer.output(&self.machine, &lock.name, permit, shown);
    }
}

fn bit_shown(lock: &Lock, shown: Option<&Bank>) -> Option<bool> {
    lock.shown_at().read(shown?)
}

/// The number a heartbeat register shows: it counts to 65 535 and over again.
fn beat_word(beat: u64) -> u16 {
    (beat & u64::from(u16::MAX)) as u16
}
