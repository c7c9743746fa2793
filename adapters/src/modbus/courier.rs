//! Carries rounds to the intake, so that a full intake never keeps the link from its outputs.
//!
//! Where there is room a round is handed over at once; else one waits for room, in its turn among
//! all links. At most [`OUTSTANDING`] are handed over and not yet durable. While there are as many,
//! or one waits, the link reads no further round: values are totals and states, so the next round
//! tells what this one would have told.

use std::collections::VecDeque;

use futures::FutureExt;
use stencilward_domain::signal::Signal;
use tokio_util::task::AbortOnDropHandle;

use crate::link::{Intake, NotTaken, Receipt, Stopping};

/// Most rounds handed over that are not durable yet.
const OUTSTANDING: usize = 4;

pub(crate) struct Courier {
    intake: Intake,
    /// A round that found no room.
    waiting: Option<AbortOnDropHandle<Result<Receipt, Stopping>>>,
    /// Handed over, the oldest first. There is nothing to confirm to the machine: durable or not,
    /// it is asked again.
    outstanding: VecDeque<Receipt>,
}

/// Room for one round.
pub(crate) enum Room<'a> {
    Free(Place<'a>),
    Full,
    /// The gateway takes no more signals.
    Closed,
}

/// The right to hand over one round.
pub(crate) struct Place<'a>(&'a mut Courier);

impl Place<'_> {
    pub(crate) fn send(self, signals: Vec<Signal>) {
        let Self(courier) = self;
        match courier.intake.offer(signals) {
            Ok(receipt) => courier.outstanding.push_back(receipt),
            Err(NotTaken::Full(signals)) => {
                let intake = courier.intake.clone();
                let waiting = tokio::spawn(async move { intake.deliver(signals).await });
                courier.waiting = Some(AbortOnDropHandle::new(waiting));
            }
            // The intake tells the link so.
            Err(NotTaken::Stopping) => {}
        }
    }
}

impl Courier {
    pub(crate) fn new(intake: Intake) -> Self {
        Self { intake, waiting: None, outstanding: VecDeque::with_capacity(OUTSTANDING) }
    }

    /// Room for a round, if there is any at once.
    pub(crate) fn room(&mut self) -> Room<'_> {
        while self.is_full() {
            match self.progress().now_or_never() {
                None => return Room::Full,
                Some(Err(Stopping)) => return Room::Closed,
                Some(Ok(())) => {}
            }
        }
        if self.intake.is_closed() { Room::Closed } else { Room::Free(Place(self)) }
    }

    /// Hands over what is unsent as soon as there is room. Given up before, it stays unsent.
    pub(crate) async fn hand_over(&mut self, unsent: &mut Option<Signal>) {
        if unsent.is_none() {
            return;
        }
        while self.is_full() {
            if self.progress().await.is_err() {
                return;
            }
        }
        if let Some(signal) = unsent.take() {
            Place(self).send(vec![signal]);
        }
    }

    fn is_full(&self) -> bool {
        self.waiting.is_some() || self.outstanding.len() >= OUTSTANDING
    }

    /// Waits until a round was taken in, or the oldest is durable. Given up, nothing is lost.
    async fn progress(&mut self) -> Result<(), Stopping> {
        if let Some(waiting) = &mut self.waiting {
            let taken = waiting.await.unwrap_or(Err(Stopping));
            self.waiting = None;
            self.outstanding.push_back(taken?);
        } else if let Some(oldest) = self.outstanding.front_mut() {
            let _ = oldest.answered().await;
            self.outstanding.pop_front();
        }
        Ok(())
    }
}
