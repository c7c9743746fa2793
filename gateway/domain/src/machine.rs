//! What is known and durable about one machine, and how events change it.

use std::borrow::Cow;
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::clock::Clock;
use crate::counter::Known;
use crate::decision::{Decision, Rule};
use crate::event::{Advance, Basis, Event, Noted, Position, Recorded};
use crate::names::{CounterName, MachineName, OrderName, SlotName, StencilCode};
use crate::past::Seats;
use crate::reason::Reason;
use crate::run::Run;
use crate::signal::{MachineState, OrderSpec, Width};
use crate::time::Timestamp;

/// Message identities kept per machine to recognise a repeat.
pub const IDENTITIES_KEPT: usize = 4_096;

/// Whether the link to a machine works.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub enum LinkState {
    /// Never heard of.
    #[default]
    NeverUp,
    /// Works.
    Up,
    /// Lost.
    Down {
        /// Why, in words.
        why: String,
        /// Since when.
        since: Timestamp,
    },
}

impl LinkState {
    /// The state's stable word.
    #[must_use]
    pub fn as_str(&self) -> &'static str {
        match self {
            Self::NeverUp => "never-up",
            Self::Up => "up",
            Self::Down { .. } => "down",
        }
    }

    /// Why it is lost.
    #[must_use]
    pub fn why_down(&self) -> Option<&str> {
        match self {
            Self::Down { why, .. } => Some(why),
            _ => None,
        }
    }
}

/// The stencil in a printer, or loaded into a washer.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Seat {
    /// Its code as read; it need not be in the list.
    pub code: StencilCode,
    /// Since when.
    pub since: Timestamp,
    /// The event that says so.
    pub because: Position,
}

/// One counter of a machine.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Counter {
    /// The value that counts.
    pub known: Known,
    /// When the event that fixed it was decided.
    pub at: Timestamp,
    /// Stencils that were in the machine since the value was last read.
    pub candidates: BTreeSet<StencilCode>,
    /// True when they changed since then while nobody was told: there may be others.
    pub gap: bool,
}

/// What a slot of a rack holds.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Slot {
    /// Nothing.
    Empty,
    /// This stencil.
    Holds(StencilCode),
    /// A stencil nobody could name.
    HoldsUnknown,
}

/// A permitted store or take that waits to be carried out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Permit {
    /// Store or take.
    pub rule: Rule,
    /// Which stencil.
    pub stencil: StencilCode,
    /// Which slot, if one was named.
    pub slot: Option<SlotName>,
    /// Until when.
    pub until: Timestamp,
}

/// A decision as last told: enough to see a change.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Told {
    /// About which stencil.
    pub stencil: Option<StencilCode>,
    /// The codes of the reasons against it; none permits.
    pub codes: Vec<Cow<'static, str>>,
}

impl Told {
    /// What a decision tells.
    #[must_use]
    pub fn of(decision: &Decision) -> Self {
        let codes = decision.reasons.iter().map(|cause| cause.reason.code().into()).collect();
        Self { stencil: decision.stencil.clone(), codes }
    }
}

/// Identities of messages whose events are in the ledger, oldest leaving first.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(into = "Vec<Dealt>", from = "Vec<Dealt>")]
pub struct Seen {
    order: VecDeque<Arc<str>>,
    decisions: BTreeMap<Arc<str>, Option<Box<Decision>>>,
}

/// One of them, with the decision given to it.
type Dealt = (Arc<str>, Option<Box<Decision>>);

impl From<Seen> for Vec<Dealt> {
    fn from(mut seen: Seen) -> Self {
        let decision = |identity| seen.decisions.remove(&identity).map(|given| (identity, given));
        seen.order.into_iter().filter_map(decision).collect()
    }
}

impl From<Vec<Dealt>> for Seen {
    fn from(dealt: Vec<Dealt>) -> Self {
        let order = dealt.iter().map(|(identity, _)| Arc::clone(identity)).collect();
        Self { order, decisions: dealt.into_iter().collect() }
    }
}

impl Seen {
    fn insert(&mut self, identity: &str) {
        if self.has(identity) {
            return;
        }
        let identity: Arc<str> = Arc::from(identity);
        self.order.push_back(Arc::clone(&identity));
        self.decisions.insert(identity, None);
        if self.order.len() > IDENTITIES_KEPT
            && let Some(oldest) = self.order.pop_front()
        {
            self.decisions.remove(&oldest);
        }
    }

    fn decide(&mut self, identity: &str, decision: &Decision) {
        if let Some(decided) = self.decisions.get_mut(identity) {
            *decided = Some(Box::new(decision.clone()));
        }
    }

    /// True when a message of this identity has been dealt with.
    #[must_use]
    pub fn has(&self, identity: &str) -> bool {
        self.decisions.contains_key(identity)
    }

    /// The decision given to the message of this identity.
    #[must_use]
    pub fn decision(&self, identity: &str) -> Option<&Decision> {
        self.decisions.get(identity)?.as_deref()
    }
}

/// One machine.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Machine {
    /// Whether its link works.
    pub link: LinkState,
    /// The stencil in it.
    pub seat: Option<Seat>,
    /// Its counters.
    pub counters: BTreeMap<CounterName, Counter>,
    /// What it is doing, and its own word for it.
    pub state: Option<(MachineState, String)>,
    /// Faults present: code and text.
    pub faults: BTreeMap<String, String>,
    /// The order it works on.
    pub order: Option<OrderSpec>,
    /// Its slots, when it is a rack.
    pub slots: BTreeMap<SlotName, Slot>,
    /// Permits that wait to be carried out at it.
    pub permits: Vec<Permit>,
    /// The print decision as last told.
    pub print: Option<Told>,
    /// Strokes it made that nobody can attribute yet.
    pub unattributed: u64,
    /// Strokes of this machine booked to stencils, those assigned later included.
    pub booked: u64,
    /// Strokes it told of that people said were no stencil's.
    pub written_off: u64,
    /// Understencil wipes it told of.
    pub wipes: u64,
    /// What each basis says of the run it is at.
    pub run: Run,
    /// Messages dealt with.
    pub seen: Seen,
    /// The last number of each of its sequences.
    pub numbers: BTreeMap<String, u64>,
    /// What was in it before, where late messages are told apart.
    pub seats: Option<Seats>,
    /// Its clock, where its messages tell when something happened.
    pub clock: Clock,
}

impl Machine {
    /// True when the print decision as last told says that nobody confirmed what is in it, or when
    /// it is thought empty and was not read since.
    #[must_use]
    pub fn is_unconfirmed(&self) -> bool {
        let told = self.print.as_ref();
        let unread = |counter: &Counter| !counter.candidates.is_empty();
        told.is_some_and(|told| told.codes.iter().any(|code| code == Reason::SEAT_UNCONFIRMED))
            || (self.seat.is_none() && self.counters.values().any(unread))
    }

    /// Nobody listened from `since` until the gateway started again: the link has to come up anew.
    pub fn not_heard_since(&mut self, since: Timestamp) {
        self.run.not_heard = true;
        if self.link == LinkState::Up {
            let why = "the gateway was not running".to_owned();
            self.link = LinkState::Down { why, since };
        }
    }

    /// What this machine's counters showed counts no more: its next read is the first. `own`: the
    /// counters are this machine's; else those by which the other one counts for it.
    pub fn forget_counters_of(&mut self, counting: &MachineName, own: bool) {
        let theirs = format!("{counting}/");
        self.counters.retain(|name, _| !own && !name.as_str().starts_with(&theirs));
    }

    /// Changes the state as the event says. Only events about this machine must come here.
    pub fn apply(&mut self, recorded: &Recorded) {
        self.run.apply(recorded);
        self.apply_counting(recorded);
        self.apply_storage(recorded);
        match &recorded.fact.event {
            Event::MachineUp { .. } => self.link = LinkState::Up,
            Event::MachineDown { why, .. } => {
                self.link = LinkState::Down { why: why.clone(), since: recorded.fact.at };
            }
            Event::MachineStateChanged { state, word, .. } => {
                self.state = Some((*state, word.clone()));
            }
            Event::FaultRaised { code, text, .. } => {
                self.faults.insert(code.clone(), text.clone());
            }
            Event::FaultEnded { code, .. } => {
                self.faults.remove(code);
            }
            Event::MessageNumbered(numbered) => {
                self.numbers.insert(numbered.sequence.clone(), numbered.number);
            }
            Event::Loaded { stencil, .. } => self.seat(stencil, recorded),
            Event::Seated { stencil, unseen, .. } => {
                self.seat(stencil, recorded);
                self.mark_gap(*unseen);
            }
            Event::Removed { unseen, .. } => {
                if self.changes(None, recorded) {
                    self.seat = None;
                    self.new_run_without_order(recorded.fact.time());
                }
                self.mark_gap(*unseen);
            }
            Event::OrderStarted { spec, .. } => {
                let goes_on = self.works_on(&spec.order);
                self.order = Some(spec.clone());
                if !goes_on {
                    self.new_run(recorded.fact.time());
                }
            }
            Event::OrderFinished { order, .. } if self.works_on(order) => {
                self.order = None;
                self.new_run(recorded.fact.time());
            }
            _ => {}
        }
    }

    /// True while it works on this order.
    #[must_use]
    pub fn works_on(&self, order: &OrderName) -> bool {
        self.order.as_ref().is_some_and(|running| running.order == *order)
    }

    fn new_run_without_order(&mut self, at: Timestamp) {
        if self.order.is_none() {
            self.new_run(at);
        }
    }

    fn new_run(&mut self, at: Timestamp) {
        self.run = Run::begun(at, self.seat.as_ref().map(|seat| seat.code.clone()));
    }

    /// Remembers the message that this event came from, so that a repeat is recognised.
    pub fn remember_message(&mut self, recorded: &Recorded) {
        let Some(identity) = &recorded.fact.identity else {
            return;
        };
        self.seen.insert(identity);
        if let Event::Decided { decision, .. } = &recorded.fact.event
            && decision.rule != Rule::Print
        {
            self.seen.decide(identity, decision);
        }
    }

    fn seat(&mut self, code: &StencilCode, recorded: &Recorded) {
        if self.changes(Some(code), recorded) {
            let (since, because) = (recorded.fact.time(), recorded.position);
            self.seat = Some(Seat { code: code.clone(), since, because });
            self.new_run_without_order(since);
        }
        for counter in self.counters.values_mut() {
            counter.candidates.insert(code.clone());
        }
    }

    /// Remembers what is in it. False when it is told late and has changed since.
    fn changes(&mut self, code: Option<&StencilCode>, recorded: &Recorded) -> bool {
        let Some(seats) = &mut self.seats else { return true };
        match recorded.fact.happened {
            Some(then) => seats.change_late(then, code.cloned()),
            None => {
                seats.change(recorded.fact.at, code.cloned());
                true
            }
        }
    }

    /// Remembers from now on what is in it.
    pub fn remember_seats(&mut self, now: Timestamp) {
        let seat = self.seat.as_ref();
        let since = seat.map_or(now, |seat| seat.since);
        let seats = self.seats.get_or_insert_default();
        if seats.latest().is_none() {
            seats.change(since, seat.map(|seat| seat.code.clone()));
        }
    }

    fn mark_gap(&mut self, unseen: bool) {
        self.counters.values_mut().for_each(|counter| counter.gap |= unseen);
    }

    fn apply_counting(&mut self, recorded: &Recorded) {
        let at = recorded.fact.at;
        match &recorded.fact.event {
            Event::StrokesBooked { count, basis, .. } => {
                self.booked = self.booked.saturating_add(*count);
                self.follow_basis(*count, basis, at);
            }
            Event::StrokesUnattributed { count, basis, .. } => {
                self.unattributed = self.unattributed.saturating_add(*count);
                self.follow_basis(*count, basis, at);
            }
            Event::StrokesChecked { count, basis, .. } => self.follow_basis(*count, basis, at),
            Event::WipesCounted { count, basis, .. } => {
                self.wipes = self.wipes.saturating_add(*count);
                self.follow_basis(*count, basis, at);
            }
            Event::StrokesAssigned { count, .. } => {
                self.booked = self.booked.saturating_add(*count);
                self.unattributed = self.unattributed.saturating_sub(*count);
            }
            Event::StrokesWrittenOff { count, .. } => {
                self.written_off = self.written_off.saturating_add(*count);
                self.unattributed = self.unattributed.saturating_sub(*count);
            }
            Event::StrokesCorrected { was, is, .. } => {
                self.booked = self.booked.saturating_add(*is).saturating_sub(*was);
            }
            Event::CounterNoted { counter, raw, width, why, .. } => match why {
                Noted::First | Noted::Accepted | Noted::Misread => {
                    self.fix(counter, Known::first(*raw, *width), at)
                }
                Noted::SeatChanged => {
                    self.advance(counter, *raw, *width, 0, Advance::Difference, at)
                }
                Noted::Restarted => self.advance(counter, *raw, *width, 0, Advance::Restarted, at),
            },
            _ => {}
        }
    }

    fn follow_basis(&mut self, count: u64, basis: &Basis, at: Timestamp) {
        if let Basis::Order { .. } = basis {
            self.run.since_order = self.seat.iter().map(|seat| seat.code.clone()).collect();
        }
        if let Basis::Counter { counter, raw, width, advance }
        | Basis::Pulses { counter, raw, width, advance } = basis
        {
            self.advance(counter, *raw, *width, count, *advance, at);
        }
    }

    fn advance(
        &mut self,
        counter: &CounterName,
        raw: u64,
        width: Width,
        count: u64,
        advance: Advance,
        at: Timestamp,
    ) {
        let known = self.counters.get(counter).map_or_else(
            || Known::first(raw, width),
            |counter| counter.known.after(raw, width, count, advance),
        );
        self.fix(counter, known, at);
    }

    fn fix(&mut self, counter: &CounterName, known: Known, at: Timestamp) {
        let candidates = self.seat.iter().map(|seat| seat.code.clone()).collect();
        self.counters.insert(counter.clone(), Counter { known, at, candidates, gap: false });
    }

    fn apply_storage(&mut self, recorded: &Recorded) {
        match &recorded.fact.event {
            Event::Stored { stencil, slot, .. } => {
                self.slots.insert(slot.clone(), Slot::Holds(stencil.clone()));
                self.use_permit(stencil, Rule::Store);
            }
            Event::SlotFound { stencil, slot, .. }
            | Event::StorageBreached { stencil, slot, .. } => {
                let holds = stencil.clone().map_or(Slot::HoldsUnknown, Slot::Holds);
                self.slots.insert(slot.clone(), holds);
            }
            Event::Taken { stencil, slot, .. } => {
                self.slots.insert(slot.clone(), Slot::Empty);
                self.use_permit(stencil, Rule::Take);
            }
            Event::SlotCleared { slot, .. } => {
                self.slots.insert(slot.clone(), Slot::Empty);
            }
            Event::Decided { decision, valid_until } => {
                self.permits.retain(|permit| permit.until > recorded.fact.at);
                self.hear_decision(decision, *valid_until);
            }
            _ => {}
        }
    }

    fn hear_decision(&mut self, decision: &Decision, valid_until: Option<Timestamp>) {
        if decision.rule == Rule::Print {
            self.print = Some(Told::of(decision));
            return;
        }
        let Some(stencil) = decision.stencil.as_ref().filter(|_| !decision.only_promised()) else {
            return;
        };
        self.permits.retain(|permit| permit.stencil != *stencil);
        if let (true, Some(until)) = (decision.permitted(), valid_until) {
            let (rule, slot) = (decision.rule, decision.slot.clone());
            self.permits.push(Permit { rule, stencil: stencil.clone(), slot, until });
        }
    }

    fn use_permit(&mut self, stencil: &StencilCode, rule: Rule) {
        self.permits.retain(|permit| permit.stencil != *stencil || permit.rule != rule);
    }
}
