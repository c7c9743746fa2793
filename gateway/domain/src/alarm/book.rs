//! The alarms as events built them up.

use std::collections::{BTreeMap, VecDeque};

use serde::{Deserialize, Serialize};

use super::findings::{self, Finding};
use super::{AlarmId, AlarmState};
use crate::event::{AlarmChange, AlarmEvent, AlarmMoved, Event, Position, Raised, Recorded};
use crate::names::MachineName;
use crate::time::Timestamp;

/// Entries kept of each alarm's history; the ledger has all.
const ENTRIES_KEPT: usize = 20;

/// Alarms kept for their history while nothing is wrong; the one that moved first leaves first.
const NORMAL_KEPT: usize = 1_000;

/// One thing that happened to an alarm.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Entry {
    /// When.
    pub at: Timestamp,
    /// The event.
    pub because: Position,
    /// What.
    pub happened: AlarmEvent,
}

/// One alarm.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Alarm {
    /// Its state.
    pub state: AlarmState,
    /// Since when it is in that state.
    pub since: Timestamp,
    /// The event that put it there.
    pub because: Position,
    /// The state it was in before it was silenced.
    pub before: AlarmState,
    /// What was wrong when it was last raised.
    pub raised: Option<Raised>,
    /// When that began.
    pub raised_at: Timestamp,
    /// Until when it is shelved.
    pub shelved_until: Option<Timestamp>,
    /// What happened to it, the latest last.
    pub history: VecDeque<Entry>,
}

impl Alarm {
    /// True while it stays for its latch alone, or would if it were not silenced.
    #[must_use]
    pub fn is_latched(&self, latching: bool) -> bool {
        use AlarmState as S;
        let state = if self.state.is_silenced() { self.before } else { self.state };
        match state {
            S::LatchedUnacknowledged | S::LatchedAcknowledged => true,
            S::Unacknowledged | S::Acknowledged => latching && self.state.is_silenced(),
            _ => false,
        }
    }

    fn apply(&mut self, moved: &AlarmMoved, recorded: &Recorded) {
        if moved.to.is_silenced() && !self.state.is_silenced() {
            self.before = self.state;
        }
        self.state = moved.to;
        (self.since, self.because) = (recorded.fact.at, recorded.position);
        self.shelved_until = match &moved.change {
            AlarmChange::Shelved { until, .. } => Some(*until),
            _ => None,
        };
        if let Some(raised) = &moved.raised {
            self.raised = Some(raised.clone());
            if moved.change != AlarmChange::AlarmedAgain {
                self.raised_at = recorded.fact.at;
            }
        }
    }

    fn remember(&mut self, recorded: &Recorded, happened: &AlarmEvent) {
        if self.history.len() == ENTRIES_KEPT {
            self.history.pop_front();
        }
        let (at, because) = (recorded.fact.at, recorded.position);
        self.history.push_back(Entry { at, because, happened: happened.clone() });
    }
}

/// That people work on a machine.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Maintenance {
    /// Who says so.
    pub by: String,
    /// Why.
    pub why: String,
    /// Since when.
    pub since: Timestamp,
    /// The event that says so.
    pub because: Position,
}

/// All alarms. Equal ledgers give equal alarms, whatever the policy is.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Alarms {
    /// Those of which the ledger tells.
    #[serde(with = "crate::pairs")]
    pub all: BTreeMap<AlarmId, Alarm>,
    /// What was found, and has not ended.
    #[serde(with = "crate::pairs")]
    pub findings: BTreeMap<AlarmId, Finding>,
    /// Machines that people work on.
    pub maintenance: BTreeMap<MachineName, Maintenance>,
}

impl Alarms {
    /// Changes the alarms as the event says.
    pub fn apply(&mut self, recorded: &Recorded) {
        findings::end(&mut self.findings, &recorded.fact.event);
        if let Some((id, found)) = Finding::of(recorded) {
            let told = self.state(&id).is_active();
            self.findings.insert(id, Finding { told, ..found });
        }
        if let Event::Alarm(event) = &recorded.fact.event {
            self.apply_alarm(event, recorded);
        }
    }

    fn apply_alarm(&mut self, event: &AlarmEvent, recorded: &Recorded) {
        match event {
            AlarmEvent::Moved(moved) => {
                let alarm = self.all.entry(moved.id.clone()).or_default();
                alarm.apply(moved, recorded);
                alarm.remember(recorded, event);
                if moved.to == AlarmState::Unacknowledged
                    && let Some(finding) = self.findings.get_mut(&moved.id)
                {
                    finding.told = true;
                }
                if moved.to == AlarmState::Normal {
                    self.forget_the_oldest();
                }
            }
            AlarmEvent::Commented { id, .. } => {
                if let Some(alarm) = self.all.get_mut(id) {
                    alarm.remember(recorded, event);
                }
            }
            AlarmEvent::MaintenanceBegan { machine, by, why } => {
                let (since, because) = (recorded.fact.at, recorded.position);
                let begun = Maintenance { by: by.clone(), why: why.clone(), since, because };
                self.maintenance.insert(machine.clone(), begun);
            }
            AlarmEvent::MaintenanceEnded { machine, .. } => drop(self.maintenance.remove(machine)),
        }
    }

    /// The state of an alarm; one that never was is normal.
    #[must_use]
    pub fn state(&self, id: &AlarmId) -> AlarmState {
        self.all.get(id).map_or(AlarmState::Normal, |alarm| alarm.state)
    }

    /// The alarms that are not normal.
    pub fn standing(&self) -> impl Iterator<Item = (&AlarmId, &Alarm)> {
        self.all.iter().filter(|(_, alarm)| alarm.state != AlarmState::Normal)
    }

    fn forget_the_oldest(&mut self) {
        if self.all.len() <= NORMAL_KEPT {
            return;
        }
        let normal = || self.all.iter().filter(|(_, alarm)| alarm.state == AlarmState::Normal);
        if normal().count() <= NORMAL_KEPT {
            return;
        }
        let oldest = normal().min_by_key(|(_, alarm)| alarm.because).map(|(id, _)| id.clone());
        if let Some(oldest) = oldest {
            self.all.remove(&oldest);
        }
    }
}
