//! A simulated storage rack: asks before anything passes its door, and keeps the door shut
//! unless it is released.

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};
use std::time::Duration;

use stencilward_adapters::simulated::{Answered, CannotSay, Simulated};
use stencilward_domain::names::{MachineName, OutputName, SlotName, StencilCode};
use stencilward_domain::signal::Said;
use tokio::sync::{Mutex, watch};
use tokio::time::timeout;

use crate::plant::tally::Tally;

/// Longest wait for an answer: longer than the gateway stays away.
const ANSWER: Duration = Duration::from_secs(20);

/// Longest wait for the door.
const DOOR: Duration = Duration::from_secs(5);

/// How a visit to the rack ended.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Visit {
    /// It went through the door.
    Done,
    /// The answer was no, for these reasons.
    Refused(Vec<String>),
    /// No answer, or the door stayed shut.
    Stuck(&'static str),
}

/// A simulated storage rack.
pub struct Rack {
    machine: Arc<dyn Simulated>,
    door: watch::Receiver<bool>,
    /// One person stands at the rack at a time.
    person: Mutex<()>,
    told: AtomicU64,
    tally: Arc<Tally>,
}

impl Rack {
    /// A rack on `machine` whose door is the output `door`.
    ///
    /// # Errors
    /// When the machine's settings name no such output.
    pub fn new(
        (_, machine): (MachineName, Arc<dyn Simulated>),
        door: &OutputName,
        tally: Arc<Tally>,
    ) -> Result<Self, CannotSay> {
        let door = machine.output(door)?;
        Ok(Self { machine, door, person: Mutex::new(()), told: AtomicU64::new(0), tally })
    }

    /// Asks to store a stencil, and puts it into the slot when it may.
    ///
    /// # Errors
    /// When the machine cannot say it.
    pub async fn store(&self, code: &StencilCode, slot: &SlotName) -> Result<Visit, CannotSay> {
        let ask = Said::StoreAsked { code: code.clone(), slot: Some(slot.clone()) };
        let act = Said::SlotOccupied { slot: slot.clone(), code: Some(code.clone()) };
        let visit = self.visit(&ask, &act).await?;
        self.tally.note(code, |done| match visit {
            Visit::Done => done.stored += 1,
            Visit::Refused(_) => done.refused += 1,
            Visit::Stuck(_) => {}
        });
        Ok(visit)
    }

    /// Asks to take a stencil, and takes it out of the slot when it may.
    ///
    /// # Errors
    /// When the machine cannot say it.
    pub async fn take(&self, code: &StencilCode, slot: &SlotName) -> Result<Visit, CannotSay> {
        let ask = Said::TakeAsked { code: code.clone(), order: None, destination: None };
        let act = Said::SlotEmptied { slot: slot.clone(), code: Some(code.clone()) };
        let visit = self.visit(&ask, &act).await?;
        self.tally.note(code, |done| match visit {
            Visit::Done => done.taken += 1,
            Visit::Refused(_) => done.refused += 1,
            Visit::Stuck(_) => {}
        });
        Ok(visit)
    }

    async fn visit(&self, ask: &Said, act: &Said) -> Result<Visit, CannotSay> {
        let _person = self.person.lock().await;
        let request = self.next_identity();
        self.machine.say(ask, Some(&request)).await?;
        let Some(answer) = self.answer(&request).await else {
            return Ok(Visit::Stuck("no answer came"));
        };
        if !answer.permitted {
            return Ok(Visit::Refused(answer.reasons));
        }
        let mut door = self.door.clone();
        if !matches!(timeout(DOOR, door.wait_for(|open| *open)).await, Ok(Ok(_))) {
            return Ok(Visit::Stuck("the door stayed shut"));
        }
        self.machine.say(act, Some(&self.next_identity())).await?;
        Ok(Visit::Done)
    }

    async fn answer(&self, request: &str) -> Option<Answered> {
        let awaited = async {
            loop {
                let answer = self.machine.answered().await?;
                if answer.request.as_deref() == Some(request) {
                    return Some(answer);
                }
            }
        };
        timeout(ANSWER, awaited).await.ok().flatten()
    }

    fn next_identity(&self) -> String {
        self.told.fetch_add(1, Ordering::SeqCst).to_string()
    }
}
