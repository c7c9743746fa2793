//! What people do with stencils: take, seat, wash, store. Where a machine is wired to tell of it
//! the machine does; where none is, somebody tells the gateway at the desk.

use std::future::poll_fn;
use std::pin::Pin;
use std::sync::Arc;
use std::task::Poll;
use std::time::Duration;

use stencilward_domain::names::{MachineName, OrderName, SlotName, StencilCode};
use stencilward_domain::plant::{MachineKind, OutputRule};
use stencilward_domain::signal::{Measurement, Said, WashOutcome};
use stencilward_domain::site::{Reply, Request};
use tokio::time::{sleep, timeout};

use super::actor::Actor;
use super::floor::{Floor, Home, PERSON};

/// Longest wait for an answer.
const ANSWER: Duration = Duration::from_secs(30);

/// Longest wait for a door.
const DOOR: Duration = Duration::from_secs(10);

/// How a visit to a rack or the desk ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) enum Visit {
    Done,
    Refused,
    /// No answer, or the door stayed shut.
    Stuck(&'static str),
}

impl Floor {
    /// Asks for a stencil and takes it out.
    pub(super) async fn take(&self, code: &StencilCode, order: Option<&OrderName>) -> Visit {
        let home = self.homes.get(code).cloned();
        let _person = self.stand_before(home.as_ref()).await;
        let asks = |actor: &Actor| actor.wired.asks_take;
        let said = Said::TakeAsked { code: code.clone(), order: order.cloned(), destination: None };
        let request = Request::Take {
            stencil: code.clone(),
            rack: home.as_ref().map(|home| home.rack.clone()),
            order: order.cloned(),
            by: Some(PERSON.to_owned()),
        };
        let visit = self.visit(code, home.as_ref(), asks, said, request).await;
        if let (Visit::Done, Some(home)) = (visit, &home) {
            let emptied = Said::SlotEmptied { slot: home.slot.clone(), code: Some(code.clone()) };
            self.pass_door(home, emptied, code).await;
            self.note(code, |done| done.taken += 1);
        }
        visit
    }

    /// Asks to store a stencil and puts it into its slot, or into the one given.
    pub(super) async fn store(&self, code: &StencilCode, slot: Option<SlotName>) -> Visit {
        let mut home = self.homes.get(code).cloned();
        if let (Some(home), Some(slot)) = (&mut home, slot) {
            home.slot = slot;
        }
        let _person = self.stand_before(home.as_ref()).await;
        let asks = |actor: &Actor| actor.wired.asks_store;
        let slot = home.as_ref().map(|home| home.slot.clone());
        let said = Said::StoreAsked { code: code.clone(), slot: slot.clone() };
        let request = Request::Store {
            stencil: code.clone(),
            rack: home.as_ref().map(|home| home.rack.clone()),
            slot,
            by: Some(PERSON.to_owned()),
        };
        let visit = self.visit(code, home.as_ref(), asks, said, request).await;
        if let (Visit::Done, Some(home)) = (visit, &home) {
            let filled = Said::SlotOccupied { slot: home.slot.clone(), code: Some(code.clone()) };
            self.pass_door(home, filled, code).await;
            self.note(code, |done| done.stored += 1);
        }
        visit
    }

    /// Asks where it can be asked: at the stencil's rack, at another machine, or at the desk; then
    /// waits for the door, where there is one.
    async fn visit(
        &self,
        code: &StencilCode,
        home: Option<&Home>,
        asks: impl Fn(&Actor) -> bool,
        said: Said,
        request: Request,
    ) -> Visit {
        let rack = home.and_then(|home| self.actors.get(&home.rack)).filter(|rack| asks(rack));
        let asker = rack.or_else(|| self.live().find(|actor| asks(actor)));
        let doors = home.map(|home| self.outputs(&home.rack, OutputRule::DoorRelease));
        let mut doors = doors.unwrap_or_default();
        let permitted = match asker {
            Some(asker) if asker.wired.answered => {
                let identity = asker.say(said).await;
                match timeout(ANSWER, asker.answer_to(&identity)).await {
                    Ok(Some(answer)) => answer.permitted,
                    _ => return Visit::Stuck("no answer came"),
                }
            }
            Some(asker) => {
                // Its door is the answer, once it does not stand open for somebody else.
                for door in &mut doors {
                    let _ = timeout(DOOR, door.wait_for(|open| !*open)).await;
                }
                asker.say(said).await;
                true
            }
            None => match self.ask(request).await {
                Some(Reply::Decision(decision)) => decision.permitted(),
                _ => return Visit::Stuck("the desk does not answer"),
            },
        };
        if !permitted {
            self.note(code, |done| done.refused += 1);
            return Visit::Refused;
        }
        for door in &mut doors {
            if !matches!(timeout(DOOR, door.wait_for(|open| *open)).await, Ok(Ok(_))) {
                let unanswered = asker.is_some_and(|asker| !asker.wired.answered);
                if unanswered {
                    self.note(code, |done| done.refused += 1);
                    return Visit::Refused;
                }
                return Visit::Stuck("the door stayed shut");
            }
        }
        Visit::Done
    }

    /// One person stands before a rack at a time, from the question until the door is passed.
    async fn stand_before(&self, home: Option<&Home>) -> Option<impl Drop + '_> {
        match home {
            Some(home) => self.stand_at(&home.rack).await,
            None => None,
        }
    }

    async fn pass_door(&self, home: &Home, said: Said, code: &StencilCode) {
        if let Some(rack) = self.actors.get(&home.rack) {
            rack.say(said).await;
            self.settle(&[rack]).await;
        } else {
            self.narrator.say(home.rack.as_str(), &format!("has no door for {code}"));
        }
    }

    /// Puts a stencil into a printer, or takes out what is in it.
    pub(super) async fn seat(&self, printer: &MachineName, code: Option<&StencilCode>) {
        self.put_in_seat(printer, code);
        let said = code.map_or(Said::Removed, |code| Said::Seated { code: code.clone() });
        let own = self.actors.get(printer);
        let shows = |actor: &&Arc<Actor>| {
            actor.wired.seat || actor.wired.says.iter().any(|title| title == "stencil-present")
        };
        if let Some(own) = own.filter(shows) {
            own.say(said.clone()).await;
        }
        if !own.is_some_and(|own| own.wired.seat) {
            match self.live().find(|actor| actor.for_others.seat) {
                Some(scanner) => scanner.say_of(printer, said).await,
                None => self.scan(printer, code).await,
            }
        }
        match self.presses.get(printer) {
            Some(press) => self.settle(&press.machines()).await,
            None => sleep(self.pace.walk()).await,
        }
    }

    /// A person tells at the desk what is in a machine now.
    async fn scan(&self, machine: &MachineName, code: Option<&StencilCode>) {
        if self.plant.on_trial(machine) {
            return;
        }
        let (machine, by) = (machine.clone(), PERSON.to_owned());
        let request = match code {
            Some(code) => Request::Seat { stencil: code.clone(), machine, by },
            None => Request::Remove { machine, by },
        };
        self.ask(request).await;
    }

    /// Washes a stencil in any washer, or by hand where that is believed; false when nothing can
    /// wash it.
    pub(super) async fn wash(&self, code: &StencilCode) -> bool {
        let washers = self.live().filter(|actor| {
            actor.wired.washes && self.plant.kind(&actor.name) == MachineKind::Washer
        });
        // Whichever is free first.
        let mut waiting: Vec<_> = washers.map(|actor| Box::pin(self.free(actor))).collect();
        if waiting.is_empty() {
            return self.wash_by_hand(code).await;
        }
        let (washer, chamber) = first_of(&mut waiting).await;
        drop(waiting);
        self.wash_in(washer, code, WashOutcome::Passed).await;
        drop(chamber);
        true
    }

    async fn free<'f>(
        &'f self,
        washer: &'f Arc<Actor>,
    ) -> (&'f Arc<Actor>, Option<impl Drop + 'f>) {
        (washer, self.stand_at(&washer.name).await)
    }

    /// Washes a stencil in this washer.
    pub(super) async fn wash_in(
        &self,
        washer: &Arc<Actor>,
        code: &StencilCode,
        outcome: WashOutcome,
    ) {
        let named = washer.wired.names_washed.then(|| code.clone());
        if named.is_none() {
            self.scan(&washer.name, Some(code)).await;
        }
        let programme = Some("1".to_owned());
        washer.powered().await;
        washer.say(Said::WashBegan { code: named.clone(), programme: programme.clone() }).await;
        sleep(self.pace.wash().max(washer.wired.read_within.unwrap_or_default())).await;
        washer.powered().await;
        if outcome == WashOutcome::Passed {
            self.note(code, |done| done.washes += 1);
        }
        let values = washer.wired.measures_washes.iter();
        let measured = values.map(|(quantity, unit)| self.value(quantity, unit)).collect();
        washer.say(Said::WashEnded { code: named.clone(), programme, outcome, measured }).await;
        self.settle(&[washer]).await;
        if named.is_none() {
            self.scan(&washer.name, None).await;
        }
    }

    async fn wash_by_hand(&self, code: &StencilCode) -> bool {
        if !self.plant.policy.hand_reported_wash {
            return false;
        }
        sleep(self.pace.wash()).await;
        let (stencil, by) = (code.clone(), PERSON.to_owned());
        let outcome = WashOutcome::Passed;
        let reply = self.ask(Request::ReportWash { stencil, outcome, by }).await;
        let done = matches!(reply, Some(Reply::Done(_)));
        if done {
            self.note(code, |done| done.washes += 1);
        }
        done
    }

    /// A value that is in order.
    pub(super) fn value(&self, quantity: &str, unit: &str) -> Measurement {
        let lowest = self.plant.policy.tension.as_ref().map_or(3_000, |limits| limits.lowest_centi);
        let value = if quantity == "tension" { lowest as f64 / 100.0 + 5.0 } else { 20.0 };
        Measurement { quantity: quantity.to_owned(), value, unit: unit.to_owned() }
    }
}

/// What the first of them to end gives; for ever without an end where there are none.
async fn first_of<F: Future + Unpin>(waiting: &mut [F]) -> F::Output {
    poll_fn(|context| {
        let mut ended = waiting.iter_mut().map(|future| Pin::new(future).poll(context));
        ended.find(Poll::is_ready).unwrap_or(Poll::Pending)
    })
    .await
}
