//! Everything that follows from the ledger: the state that events build up.

use std::collections::{BTreeMap, BTreeSet, VecDeque};

use serde::{Deserialize, Serialize};

use crate::alarm::Alarms;
use crate::asked::Asked;
use crate::decision::Rule;
use crate::event::{Configured, Event, Position, Recorded, WhyUnattributed};
use crate::machine::{Machine, Slot};
use crate::names::{MachineName, OrderName, StencilCode};
use crate::past::{DECISIONS_KEPT, Late, Permitted, Uses};
use crate::place::Place;
use crate::signal::OrderSpec;
use crate::stencil::{Stencil, Stencils};
use crate::time::Timestamp;

/// The state of the plant. Equal ledgers give equal states, and what is read of a state as serde
/// wrote it equals it.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct State {
    /// Stencils by code.
    pub stencils: Stencils,
    /// Machines by name.
    pub machines: BTreeMap<MachineName, Machine>,
    /// Strokes that nobody attributed yet, by the event that told of them.
    pub unattributed: BTreeMap<Position, Unattributed>,
    /// Strokes of corrected events that count now, by stencil.
    pub corrected: BTreeMap<Position, BTreeMap<StencilCode, u64>>,
    /// Washes that people said were none.
    pub annulled: BTreeSet<Position>,
    /// Orders that were released or started and are not finished.
    pub orders: BTreeMap<OrderName, OrderSpec>,
    /// Alarms, and what they follow from.
    pub alarms: Alarms,
    /// SHA-256 of the configuration that holds, as its event has it.
    pub digest: String,
    /// The machines on trial.
    pub trial: BTreeSet<MachineName>,
    /// The machines whose messages tell when something happened. While there are some, the past is
    /// remembered.
    pub timed: BTreeSet<MachineName>,
    /// Decisions that permitted, as long as a late message may put them in doubt; oldest first.
    pub permitted: VecDeque<Permitted>,
    /// Requests that bore a key.
    pub asked: Asked,
    /// The last event's place.
    pub head: Position,
    /// The last event's time.
    pub latest: Timestamp,
}

/// Strokes that a machine made and nobody attributed yet.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Unattributed {
    /// Made by which printer.
    pub machine: MachineName,
    /// How many are left.
    pub left: u64,
    /// Not made before.
    pub since: Timestamp,
    /// Made by then.
    pub until: Timestamp,
    /// Stencils that may have made them.
    pub candidates: Vec<StencilCode>,
    /// Why nobody knows.
    pub why: WhyUnattributed,
}

impl State {
    /// Changes the state as the event says.
    pub fn apply(&mut self, recorded: &Recorded) {
        self.head = recorded.position;
        let before = self.latest;
        self.latest = self.latest.max(recorded.fact.at);
        if !self.timed.is_empty() {
            self.remember(recorded);
        }
        self.clear_former_place(recorded);
        if let Some(machine) = machine_of(&recorded.fact.event) {
            self.machines.entry(machine.clone()).or_default().apply(recorded);
        }
        if let Some(speaker) = recorded.fact.sender.as_ref().or(machine_of(&recorded.fact.event)) {
            self.machines.entry(speaker.clone()).or_default().remember_message(recorded);
        }
        if let Some(key) = &recorded.fact.asked_with {
            self.asked.note(key, recorded.position);
        }
        self.apply_to_stencils(recorded);
        self.apply_second_thoughts(recorded);
        self.alarms.apply(recorded);
        match &recorded.fact.event {
            Event::OrderReleased { spec, .. } => {
                self.orders.insert(spec.order.clone(), spec.clone());
                let at_work = self.machines.values_mut().filter(|m| m.works_on(&spec.order));
                at_work.for_each(|machine| machine.order = Some(spec.clone()));
            }
            Event::OrderStarted { spec, .. } => {
                self.orders.insert(spec.order.clone(), spec.clone());
            }
            Event::OrderFinished { order, .. }
                if !self.machines.values().any(|machine| machine.works_on(order)) =>
            {
                self.orders.remove(order);
            }
            Event::GatewayStarted { .. } => {
                for machine in self.machines.values_mut() {
                    machine.not_heard_since(before);
                }
            }
            Event::Configured(configured) => self.configured(configured, recorded.fact.at),
            _ => {}
        }
    }

    /// A machine that is no longer on trial counts from its next read.
    fn configured(&mut self, configured: &Configured, at: Timestamp) {
        for live in self.trial.difference(&configured.trial) {
            for (name, machine) in &mut self.machines {
                machine.forget_counters_of(live, name == live);
            }
        }
        self.trial = configured.trial.clone();
        self.digest = configured.digest.clone();
        self.timed = configured.timed.clone();
        // Decisions by other rules are not judged by these.
        self.permitted.clear();
        if !self.timed.is_empty() {
            self.machines.values_mut().for_each(|machine| machine.remember_seats(at));
            self.stencils.values_mut().for_each(Stencil::remember_uses);
        }
    }

    /// Keeps what late messages will be measured by, and lets them reach back to what was decided
    /// in the meantime.
    fn remember(&mut self, recorded: &Recorded) {
        let fact = &recorded.fact;
        let about = machine_of(&fact.event);
        if let Some(new) = about.filter(|about| !self.machines.contains_key(*about)) {
            self.machines.entry(new.clone()).or_default().remember_seats(fact.time());
        }
        let speaker = fact.sender.as_ref().or(about);
        if let (Some(speaker), Some(told)) = (speaker, fact.machine_time)
            && self.timed.contains(speaker)
            && !matches!(fact.event, Event::Decided { .. } | Event::DecisionDoubted(_))
        {
            self.machines.entry(speaker.clone()).or_default().clock.follow(fact.at, told);
        }
        match &fact.event {
            Event::Decided { decision, .. } if decision.permitted() => {
                let stencil = decision.stencil.as_ref().and_then(|code| self.stencils.get(code));
                let Some(stencil) = stencil.cloned() else { return };
                let order = decision.order.as_ref().and_then(|order| self.orders.get(order));
                let (position, at, order) = (recorded.position, fact.at, order.cloned());
                let (decision, late, doubts) = (decision.clone(), None, BTreeSet::new());
                let permitted = Permitted { position, at, decision, stencil, order, late, doubts };
                self.permitted.push_back(permitted);
                if self.permitted.len() > DECISIONS_KEPT {
                    self.permitted.pop_front();
                }
            }
            Event::DecisionDoubted(doubted) => {
                let mut all = self.permitted.iter_mut();
                if let Some(permitted) = all.find(|p| p.position == doubted.decision) {
                    permitted.doubts.extend(doubted.reasons.iter().map(|c| c.reason.code().into()));
                }
            }
            _ => self.reach_back(recorded, speaker),
        }
    }

    fn reach_back(&mut self, recorded: &Recorded, speaker: Option<&MachineName>) {
        let (Some(then), Some(by)) = (recorded.fact.happened, speaker) else { return };
        let late = Late { position: recorded.position, at: recorded.fact.at, by: by.clone() };
        for permitted in self.permitted.iter_mut().filter(|permitted| permitted.at >= then) {
            if concerns(&recorded.fact.event, &permitted.stencil.spec.stencil) {
                permitted.stencil.apply(recorded);
                follow_place(&mut permitted.stencil, recorded);
                permitted.late = Some(late.clone());
            }
        }
    }

    fn apply_to_stencils(&mut self, recorded: &Recorded) {
        match &recorded.fact.event {
            Event::StencilRegistered { spec, starting_strokes, clean, .. } => {
                let mut new =
                    Stencil::registered(spec.clone(), *starting_strokes, *clean, recorded);
                new.uses = (!self.timed.is_empty()).then(Uses::default);
                self.stencils.insert(spec.stencil.clone(), new);
            }
            Event::StrokesUnattributed { candidates, .. } => {
                for code in candidates {
                    if let Some(stencil) = self.stencils.get_mut(code) {
                        stencil.apply(recorded);
                    }
                }
            }
            event => {
                if let Some(stencil) = stencil_of(event).and_then(|c| self.stencils.get_mut(c)) {
                    stencil.apply(recorded);
                    follow_place(stencil, recorded);
                }
            }
        }
    }

    fn apply_second_thoughts(&mut self, recorded: &Recorded) {
        match &recorded.fact.event {
            Event::StrokesUnattributed { machine, count, since, candidates, why, .. } => {
                let open = Unattributed {
                    machine: machine.clone(),
                    left: *count,
                    since: *since,
                    until: recorded.fact.time(),
                    candidates: candidates.clone(),
                    why: *why,
                };
                self.unattributed.insert(recorded.position, open);
            }
            Event::StrokesAssigned { of, count, .. }
            | Event::StrokesWrittenOff { of, count, .. } => {
                if let Some(open) = self.unattributed.get_mut(of) {
                    open.left = open.left.saturating_sub(*count);
                }
                self.unattributed.retain(|_, open| open.left > 0);
            }
            Event::StrokesCorrected { corrects, stencil, is, .. } => {
                self.corrected.entry(*corrects).or_default().insert(stencil.clone(), *is);
            }
            Event::WashAnnulled { corrects, .. } => {
                self.annulled.insert(*corrects);
            }
            _ => {}
        }
    }

    /// A stencil that turns up somewhere has left the slot it was thought to be in.
    fn clear_former_place(&mut self, recorded: &Recorded) {
        let code = match &recorded.fact.event {
            Event::Seated { stencil, .. }
            | Event::Loaded { stencil, .. }
            | Event::WashBegan { stencil, .. }
            | Event::Stored { stencil, .. }
            | Event::StorageBreached { stencil: Some(stencil), .. }
            | Event::SlotFound { stencil: Some(stencil), .. } => stencil,
            _ => return,
        };
        let moved = |stencil: &&Stencil| {
            !recorded.fact.happened.is_some_and(|then| stencil.seen_since(then))
        };
        let stencil = self.stencils.get(code).filter(moved);
        let Some(Place::Slot { rack, slot }) = stencil.map(|s| &s.place.value) else {
            return;
        };
        let held = self.machines.get_mut(rack).and_then(|machine| machine.slots.get_mut(slot));
        if let Some(held) = held
            && *held == Slot::Holds(code.clone())
        {
            *held = Slot::Empty;
        }
    }
}

/// True when the event tells of this stencil, or of strokes that it may have made.
fn concerns(event: &Event, code: &StencilCode) -> bool {
    match event {
        Event::StrokesUnattributed { candidates, .. } => candidates.contains(code),
        event => stencil_of(event) == Some(code),
    }
}

/// Where a stencil goes when the event names a machine that holds it, or a scan shows it.
fn follow_place(stencil: &mut Stencil, recorded: &Recorded) {
    match &recorded.fact.event {
        Event::Seated { machine, .. } => {
            stencil.move_to(Place::Printer { machine: machine.clone() }, recorded);
        }
        Event::Loaded { machine, .. } | Event::WashBegan { machine: Some(machine), .. } => {
            stencil.move_to(Place::Washer { machine: machine.clone() }, recorded);
        }
        Event::Decided { decision, .. } if decision.permitted() => match decision.rule {
            Rule::Store if !matches!(stencil.place.value, Place::Slot { .. }) => {
                stencil.move_to(Place::InHand, recorded);
            }
            Rule::Take if !matches!(stencil.place.value, Place::Slot { .. }) => {
                stencil.taken = Some(recorded.position);
                stencil.move_to(Place::InHand, recorded);
            }
            _ => {}
        },
        _ => {}
    }
}

/// The machine an event is about.
#[must_use]
pub fn machine_of(event: &Event) -> Option<&MachineName> {
    match event {
        Event::StrokesBooked { machine, .. }
        | Event::StrokesChecked { machine, .. }
        | Event::StrokesAssigned { machine, .. }
        | Event::StrokesWrittenOff { machine, .. }
        | Event::BasesDisagreed { machine, .. }
        | Event::RestartUnseen { machine, .. }
        | Event::WipesCounted { machine, .. }
        | Event::Seated { machine, .. }
        | Event::Loaded { machine, .. }
        | Event::Removed { machine, .. }
        | Event::MachineUp { machine }
        | Event::MachineDown { machine, .. }
        | Event::MachineStateChanged { machine, .. }
        | Event::FaultRaised { machine, .. }
        | Event::FaultEnded { machine, .. }
        | Event::CounterNoted { machine, .. }
        | Event::CounterDoubted { machine, .. }
        | Event::StrokesUnattributed { machine, .. }
        | Event::BoardsCounted { machine, .. }
        | Event::OrderStarted { machine, .. }
        | Event::OrderFinished { machine, .. } => Some(machine),
        Event::WashBegan { machine, .. }
        | Event::WashEnded { machine, .. }
        | Event::StrokesCorrected { machine, .. }
        | Event::Measured { machine, .. } => machine.as_ref(),
        Event::Stored { rack, .. }
        | Event::SlotFound { rack, .. }
        | Event::StorageBreached { rack, .. }
        | Event::Taken { rack, .. }
        | Event::SlotCleared { rack, .. } => Some(rack),
        Event::WashUnmatched(unmatched) => Some(&unmatched.machine),
        Event::ClockDoubted(doubted) => Some(&doubted.machine),
        Event::MessageNumbered(numbered) => Some(&numbered.machine),
        Event::Decided { decision, .. } => decision.machine.as_ref(),
        _ => None,
    }
}

/// The stencil an event is about.
#[must_use]
pub fn stencil_of(event: &Event) -> Option<&StencilCode> {
    match event {
        Event::StencilRegistered { spec, .. } | Event::StencilRevised { spec, .. } => {
            Some(&spec.stencil)
        }
        Event::StrokesBooked { stencil, .. }
        | Event::StrokesAssigned { stencil, .. }
        | Event::StrokesCorrected { stencil, .. }
        | Event::WashAnnulled { stencil, .. }
        | Event::WearBandEntered { stencil, .. }
        | Event::Seated { stencil, .. }
        | Event::Loaded { stencil, .. }
        | Event::Removed { stencil, .. }
        | Event::LostSight { stencil, .. }
        | Event::WashBegan { stencil, .. }
        | Event::WashEnded { stencil, .. }
        | Event::Stored { stencil, .. }
        | Event::Taken { stencil, .. }
        | Event::HoldPlaced { stencil, .. }
        | Event::HoldReleased { stencil, .. }
        | Event::ConcessionGranted { stencil, .. }
        | Event::ConcessionWithdrawn { stencil, .. }
        | Event::Retired { stencil, .. }
        | Event::Measured { stencil, .. }
        | Event::DriedOut { stencil, .. } => Some(stencil),
        Event::SlotFound { stencil, .. }
        | Event::StorageBreached { stencil, .. }
        | Event::WipesCounted { stencil, .. } => stencil.as_ref(),
        Event::Decided { decision, .. } => decision.stencil.as_ref(),
        Event::DecisionDoubted(doubted) => Some(&doubted.stencil),
        _ => None,
    }
}
