//! Carries rounds to the intake, so that a full intake never keeps the link from its outputs.
//!
//! One round waits here and at most [`OUTSTANDING`] are handed over and not yet durable. While
//! that is so the link reads no further round: values are totals and states, so the next round
//! tells what this one would have told.

use std::collections::VecDeque;

use stencilward_domain::signal::Signal;
use tokio::sync::mpsc::{self, Permit, error::TrySendError};
use tokio_util::task::AbortOnDropHandle;

use crate::link::{Intake, Receipt};

/// Most rounds handed over that are not durable yet.
const OUTSTANDING: usize = 3;

pub(crate) struct Courier {
    rounds: mpsc::Sender<Vec<Signal>>,
    _task: AbortOnDropHandle<()>,
}

/// Room for one round.
#[derive(Debug)]
pub(crate) enum Room<'a> {
    Free(Permit<'a, Vec<Signal>>),
    Full,
    /// The gateway takes no more signals.
    Closed,
}

impl Courier {
    pub(crate) fn start(intake: Intake) -> Self {
        let (rounds, waiting) = mpsc::channel(1);
        Self { rounds, _task: AbortOnDropHandle::new(tokio::spawn(carry(intake, waiting))) }
    }

    /// Room for a round, if there is any at once.
    pub(crate) fn room(&self) -> Room<'_> {
        match self.rounds.try_reserve() {
            Ok(permit) => Room::Free(permit),
            Err(TrySendError::Full(())) => Room::Full,
            Err(TrySendError::Closed(())) => Room::Closed,
        }
    }

    /// Hands over what is unsent as soon as there is room. Given up before, it stays unsent.
    pub(crate) async fn hand_over(&self, unsent: &mut Option<Signal>) {
        if unsent.is_none() {
            return;
        }
        // An error means that the gateway is gone; `closed` tells the link so.
        if let (Ok(room), Some(signal)) = (self.rounds.reserve().await, unsent.take()) {
            room.send(vec![signal]);
        }
    }

    /// Returns when the gateway takes no more signals, as far as a delivery has shown it.
    pub(crate) async fn closed(&self) {
        self.rounds.closed().await;
    }
}

async fn carry(intake: Intake, mut waiting: mpsc::Receiver<Vec<Signal>>) {
    let mut outstanding: VecDeque<Receipt> = VecDeque::new();
    while let Some(signals) = waiting.recv().await {
        if outstanding.len() == OUTSTANDING
            && let Some(oldest) = outstanding.pop_front()
        {
            // There is nothing to confirm to the machine: durable or not, it is asked again.
            let _ = oldest.durable().await;
        }
        match intake.deliver(signals).await {
            Ok(receipt) => outstanding.push_back(receipt),
            Err(_) => return,
        }
    }
}
