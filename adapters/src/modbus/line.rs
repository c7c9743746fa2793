//! The way to the machines of one endpoint, on which one question is asked at a time.
//!
//! Each machine has its turn, in the order in which they come; a turn ends with the round, or
//! after [`LONGEST_TURN`]. Machines that do not answer are tried one at a time, and after each try
//! the line belongs to the others for [`REST`] times as long as it took. So a machine that is dead
//! or slow keeps another one waiting for one answer of its own, never for several.

mod debts;
mod numbered;
mod wire;

use std::sync::{Arc, Mutex, PoisonError};
use std::time::{Duration, Instant};

use tokio::sync::{Mutex as Queue, MutexGuard, OwnedMutexGuard};
use tokio::time::sleep_until;
use tokio_modbus::Request;

use super::client::Peer;
pub(crate) use super::rtu::Lapse;
use super::settings::Endpoint;

use debts::Debts;
pub(crate) use debts::Way;
pub(crate) use wire::{Opening, Reply};

use wire::Wire;

/// A machine that has had the line for this long lets others have it before its next question.
const LONGEST_TURN: Duration = Duration::from_millis(100);
/// How many times as long as a try at a silent machine took the line belongs to the others.
const REST: u32 = 3;

/// One endpoint, shared by all its machines.
pub(crate) struct Line {
    endpoint: Endpoint,
    wire: Arc<Queue<Wire>>,
    /// When the next silent machine may be tried.
    tries: Queue<Instant>,
    shared: bool,
    /// Where answers bear no number: those that may still come. None on other lines.
    debts: Option<Mutex<Debts>>,
}

/// The right to ask. One that was given up lets the next machine ask.
pub(crate) struct Turn {
    pub(super) wire: OwnedMutexGuard<Wire>,
    /// Where others may wait for it.
    began: Option<Instant>,
}

impl Turn {
    /// True when others should have the line now.
    pub(crate) fn is_long(&self) -> bool {
        self.began.is_some_and(|began| began.elapsed() >= LONGEST_TURN)
    }
}

/// The right to try a machine that did not answer the last time.
pub(crate) struct Try<'l> {
    next: MutexGuard<'l, Instant>,
    began: Option<Instant>,
}

impl Try<'_> {
    /// Notes that the line is taken from here on.
    pub(crate) fn begin(&mut self) {
        self.began.get_or_insert_with(Instant::now);
    }
}

impl Drop for Try<'_> {
    fn drop(&mut self) {
        if let Some(began) = self.began {
            *self.next = Instant::now() + began.elapsed() * REST;
        }
    }
}

impl Line {
    /// The line to an endpoint, not opened yet. `shared` when several machines are on it.
    pub(crate) fn new(endpoint: Endpoint, shared: bool) -> Self {
        Self {
            debts: endpoint.is_rtu().then(Mutex::default),
            wire: Arc::new(Queue::new(Wire::new(endpoint.clone()))),
            endpoint,
            tries: Queue::new(Instant::now()),
            shared,
        }
    }

    /// True when several machines are on it.
    pub(crate) fn is_shared(&self) -> bool {
        self.shared
    }

    /// A unit on it, for what is said about it.
    pub(crate) fn peer(&self, unit: u8) -> Peer {
        Peer {
            place: self.endpoint.name(),
            unit,
            is_rtu: self.endpoint.is_rtu(),
            is_port: matches!(self.endpoint, Endpoint::Serial { .. }),
        }
    }

    /// Waits for a turn. The queue is fair.
    pub(crate) async fn turn(&self) -> Turn {
        self.begin(Arc::clone(&self.wire).lock_owned().await)
    }

    /// A turn, if the line is free and nobody waits for it.
    pub(crate) fn turn_at_once(&self) -> Option<Turn> {
        Some(self.begin(Arc::clone(&self.wire).try_lock_owned().ok()?))
    }

    fn begin(&self, wire: OwnedMutexGuard<Wire>) -> Turn {
        Turn { wire, began: self.shared.then(Instant::now) }
    }

    /// Waits until a silent machine may be tried; none where nobody else is kept waiting.
    pub(crate) async fn try_silent(&self) -> Option<Try<'_>> {
        if !self.shared {
            return None;
        }
        let next = self.tries.lock().await;
        sleep_until((*next).into()).await;
        Some(Try { next, began: None })
    }

    /// How to ask a unit so that no answer which is still owed can be taken for the one to this
    /// question.
    pub(crate) fn way(&self, unit: u8, request: &Request<'static>) -> Way {
        self.debts(|debts| debts.way(unit, request, Instant::now())).unwrap_or(Way::Ask)
    }

    /// Notes that a question is asked: its answer is owed until it came.
    pub(crate) fn asked(&self, unit: u8, request: &Request<'static>, limit: Duration) {
        self.debts(|debts| debts.asked(unit, request, limit, Instant::now()));
    }

    /// Notes that a unit answered its last question, and so all before it.
    pub(crate) fn answered(&self, unit: u8) {
        self.debts(|debts| debts.answered(unit));
    }

    /// The lock is taken for a moment and holds plain values: one that was poisoned is still good.
    fn debts<T>(&self, work: impl FnOnce(&mut Debts) -> T) -> Option<T> {
        let debts = self.debts.as_ref()?;
        Some(work(&mut debts.lock().unwrap_or_else(PoisonError::into_inner)))
    }
}

#[cfg(test)]
mod tests;
