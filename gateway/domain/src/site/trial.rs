//! Machines on trial: what they say is kept to be looked at, and changes nothing.
//!
//! Kept in memory only, and bounded: [`MOST_KEPT`] things that a machine tells of, the last word
//! of each.

mod compare;

use std::collections::{BTreeMap, VecDeque};
use std::time::Duration;

use super::Site;
use crate::counter::{Known, Step, possible};
use crate::decision::{Cause, Decision, Rule};
use crate::event::Advance;
use crate::names::MachineName;
use crate::plant::Counted;
use crate::reason::Reason;
use crate::signal::{Said, Signal};
use crate::time::Timestamp;

pub use compare::{Compared, Counts, Mark};

/// Most different things that are kept of what one machine says.
const MOST_KEPT: usize = 500;

/// Messages by which a repeat is recognised.
const IDENTITIES_KEPT: usize = 256;

/// What a machine on trial has said since the gateway began to listen to it.
#[derive(Debug, Clone, PartialEq)]
pub struct Trial {
    /// When it was heard first.
    pub since: Timestamp,
    /// The last word of each kind of signal and what it is about: a counter, a slot, a fault.
    pub heard: BTreeMap<(&'static str, String), Heard>,
    /// Its counters.
    pub counters: BTreeMap<String, Tried>,
    /// Strokes it told of as they were done.
    pub reported: u64,
    /// Signals that were not kept, because it tells of too many different things.
    pub left_out: u64,
    /// The last messages, by kind and identity.
    seen: VecDeque<(&'static str, String)>,
}

/// One thing that a machine on trial says.
#[derive(Debug, Clone, PartialEq)]
pub struct Heard {
    /// What it said last.
    pub last: Said,
    /// When that came.
    pub at: Timestamp,
    /// The machine's own time of it, if it gave one.
    pub machine_time: Option<Timestamp>,
    /// How often it was said.
    pub count: u64,
}

/// A counter on trial. It is counted as it would be if the machine were live, only that a value
/// which cannot be is set aside at once.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tried {
    /// What it counts.
    pub counts: Counted,
    /// Its first value.
    pub first: u64,
    /// Its last value.
    pub raw: u64,
    /// How far its values have moved in all, believed or not.
    pub moved: u64,
    /// What would have been counted.
    pub counted: u64,
    /// Reads that jumped further than the printer can work, or beyond the width.
    pub doubted: u64,
    /// Restarts at zero.
    pub restarts: u64,
    known: Known,
    read: Timestamp,
}

impl Site {
    /// The machines on trial that were heard, and what they said.
    #[must_use]
    pub fn trial(&self, machine: &MachineName) -> Option<&Trial> {
        self.trials.get(machine)
    }

    /// The machine on trial that a signal tries out: the one that says it, or the printer whose
    /// strokes, boards and orders it tells of.
    pub(super) fn tried_by(&self, signal: &Signal) -> Option<MachineName> {
        let machine = &signal.machine;
        if self.plant.on_trial(machine) {
            return Some(machine.clone());
        }
        let about = match &signal.said {
            Said::CounterRead { counter, .. } => self.plant.counted(machine, counter).0,
            Said::StrokesDone { .. }
            | Said::WipesDone { .. }
            | Said::BoardsCounted { .. }
            | Said::OrderStarted(_)
            | Said::OrderFinished { .. } => self.plant.printer_of(machine),
            _ => return None,
        };
        self.plant.on_trial(&about).then_some(about)
    }

    /// Keeps what is said by or of a machine on trial.
    pub(super) fn try_out(&mut self, tried: MachineName, signal: &Signal) {
        let Signal { machine, received: at, said, .. } = signal;
        let by = (tried != *machine).then_some(machine);
        let trial = self.trials.entry(tried).or_insert_with(|| Trial::begun(*at));
        if trial.repeats(signal) {
            return;
        }
        trial.keep(by, signal);
        match said {
            Said::StrokesDone { count } => trial.reported = trial.reported.saturating_add(*count),
            Said::CounterRead { counter, raw, width, .. } => {
                let (of, counts) = self.plant.counted(machine, counter);
                let cycle = self.plant.fastest_cycle(&of);
                let known = Known::first(*raw, *width);
                let counter = &named(by, counter.as_str());
                if let Some(tried) = trial.counters.get_mut(counter) {
                    tried.read(known, *at, cycle);
                } else if trial.counters.len() < MOST_KEPT {
                    let tried = Tried::first(counts, known, *at);
                    trial.counters.insert(counter.clone(), tried);
                }
            }
            _ => {}
        }
    }
}

impl Trial {
    fn begun(since: Timestamp) -> Self {
        let (heard, counters) = (BTreeMap::new(), BTreeMap::new());
        Self { since, heard, counters, reported: 0, left_out: 0, seen: VecDeque::new() }
    }

    /// True when a message of this identity has said the same before.
    fn repeats(&mut self, signal: &Signal) -> bool {
        let Some(identity) = &signal.identity else { return false };
        let message = (signal.said.kind(), identity.clone());
        if self.seen.contains(&message) {
            return true;
        }
        self.seen.push_back(message);
        if self.seen.len() > IDENTITIES_KEPT {
            self.seen.pop_front();
        }
        false
    }

    fn keep(&mut self, by: Option<&MachineName>, signal: &Signal) {
        let key = (signal.said.kind(), named(by, subject(&signal.said)));
        let full = self.heard.len() >= MOST_KEPT;
        if full && !self.heard.contains_key(&key) {
            self.left_out = self.left_out.saturating_add(1);
            return;
        }
        let count = self.heard.get(&key).map_or(0, |heard| heard.count).saturating_add(1);
        let (at, machine_time) = (signal.received, signal.machine_time);
        self.heard.insert(key, Heard { last: signal.said.clone(), at, machine_time, count });
    }
}

impl Tried {
    fn first(counts: Counted, known: Known, read: Timestamp) -> Self {
        let (first, raw) = (known.raw, known.raw);
        let (moved, counted, doubted, restarts) = (0, 0, 0, 0);
        Self { counts, first, raw, moved, counted, doubted, restarts, known, read }
    }

    fn read(&mut self, now: Known, at: Timestamp, fastest_cycle: Duration) {
        let known = Known { width: now.width, ..self.known };
        let possible = possible(at.since(self.read), fastest_cycle);
        self.moved = self.moved.saturating_add(now.raw.abs_diff(self.raw));
        self.raw = now.raw;
        match known.step(now.raw, possible, possible) {
            Step::Same => {}
            Step::Advanced { count, advance } => {
                self.counted = self.counted.saturating_add(count);
                self.restarts =
                    self.restarts.saturating_add(u64::from(advance == Advance::Restarted));
                self.known = known.after(now.raw, now.width, count, advance);
            }
            Step::Doubtful => {
                self.doubted = self.doubted.saturating_add(1);
                self.known = now;
            }
        }
        self.read = at;
    }
}

/// The answer to a machine on trial that asks.
pub(super) fn refused_on_trial(signal: &Signal) -> Option<Decision> {
    let (rule, code, slot) = match &signal.said {
        Said::StoreAsked { code, slot } => (Rule::Store, code, slot.clone()),
        Said::TakeAsked { code, .. } => (Rule::Take, code, None),
        _ => return None,
    };
    let machine = signal.machine.clone();
    Some(Decision {
        rule,
        stencil: Some(code.clone()),
        machine: Some(machine.clone()),
        slot,
        order: None,
        by: None,
        reasons: vec![Cause { reason: Reason::OnTrial { machine }, because: None }],
    })
}

/// What a signal is about, where a machine says the same of several things.
fn subject(said: &Said) -> &str {
    match said {
        Said::CounterRead { counter, .. } => counter.as_str(),
        Said::SlotOccupied { slot, .. } | Said::SlotEmptied { slot, .. } => slot.as_str(),
        Said::FaultRaised { code, .. } | Said::FaultEnded { code } => code,
        Said::Measured { measurement, .. } => &measurement.quantity,
        _ => "",
    }
}

/// With the name of the machine that tells it, when it is another one.
fn named(by: Option<&MachineName>, what: &str) -> String {
    match by {
        None => what.to_owned(),
        Some(by) if what.is_empty() => by.to_string(),
        Some(by) => format!("{by}/{what}"),
    }
}
