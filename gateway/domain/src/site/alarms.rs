//! Alarms at work: conditions are followed once a tick, and people see to what is raised.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use super::Site;
use super::requests::{Done, Reply};
use crate::alarm::{
    ActiveAlarm, Alarm, AlarmId, AlarmState, Circumstances, Followed, Holds, Input, Next, active,
    conditions, describe, follows_from, next,
};
use crate::event::{AlarmChange, AlarmEvent, AlarmMoved, Event, Raised};
use crate::names::MachineName;
use crate::time::Timestamp;

/// What a person does with alarms.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum AlarmAct {
    /// Knows, and may say something about it.
    Acknowledge {
        /// What.
        comment: Option<String>,
    },
    /// Lets go of what is latched.
    Reset {
        /// Says about it.
        comment: Option<String>,
    },
    /// Puts it aside.
    Shelve {
        /// For so long.
        span: Duration,
        /// Why.
        why: String,
    },
    /// Takes it back.
    Unshelve,
    /// Takes it out of service.
    TakeOut {
        /// Why.
        why: String,
    },
    /// Puts it back into service.
    Return,
    /// Says something about it.
    Comment {
        /// What.
        comment: String,
    },
}

/// What is known of alarms only while the gateway runs.
#[derive(Debug, Clone, Default)]
pub(super) struct Watched {
    followed: BTreeMap<AlarmId, Followed>,
    /// How full the intake is, in per cent.
    intake: u64,
}

impl Site {
    /// Takes in how full the intake is, in per cent.
    pub fn intake_filled(&mut self, percent: u64) {
        self.watched.intake = percent;
    }

    /// The alarms that stand, the most urgent first.
    #[must_use]
    pub fn active_alarms(&self, now: Timestamp) -> Vec<ActiveAlarm> {
        active(&self.case(now))
    }

    /// Follows all conditions, and lets alarms move. Alarms that only wait for a person are left
    /// alone: a plant where nobody sees to them must not become slow.
    pub(super) fn watch_alarms(&mut self) {
        let holding = conditions(&self.case(self.origin.at), self.watched.intake);
        let working = !self.state.alarms.maintenance.is_empty();
        let moves_by_itself = |alarm: &Alarm| {
            let timed = matches!(alarm.state, AlarmState::Shelved | AlarmState::Suppressed);
            working || timed || alarm.state.is_active()
        };
        let standing = self.state.alarms.standing().filter(|(_, alarm)| moves_by_itself(alarm));
        let standing = standing.map(|(id, _)| id);
        let followed = self.watched.followed.keys();
        let ids: BTreeSet<AlarmId> =
            holding.keys().chain(standing).chain(followed).cloned().collect();
        for id in ids {
            let condition = self.follow_condition(&id, holding.get(&id).copied());
            self.watch_alarm(&id, condition);
        }
    }

    /// True when the condition holds after its delays.
    fn follow_condition(&mut self, id: &AlarmId, holds: Option<Holds>) -> bool {
        let (now, policy) = (self.origin.at, self.plant.policy.alarms.of(id.kind));
        let followed = match self.watched.followed.get_mut(id) {
            Some(followed) => followed,
            None => {
                let was = Followed::new(self.state.alarms.state(id).is_active());
                self.watched.followed.entry(id.clone()).or_insert(was)
            }
        };
        let holds = match holds {
            None => false,
            Some(Holds::Yes) => true,
            Some(Holds::Measured(measured)) => policy.reached(measured, followed.holds()),
        };
        let settled = followed.follow(holds, now, policy.on_delay, policy.off_delay);
        if followed.is_idle() {
            self.watched.followed.remove(id);
        }
        settled
    }

    fn condition(&self, id: &AlarmId) -> bool {
        self.watched.followed.get(id).is_some_and(Followed::holds)
    }

    /// What time, maintenance and its condition make of an alarm.
    fn watch_alarm(&mut self, id: &AlarmId, condition: bool) {
        if !self.shelf_holds(id) {
            self.moves(id, Input::Unshelve, AlarmChange::Unshelved { by: None });
        }
        let state = self.state.alarms.state(id);
        let silencing = self.silencing(id, state);
        if let Some(under_maintenance) = silencing
            && (condition || state != AlarmState::Normal)
        {
            self.moves(id, Input::Suppress, AlarmChange::Suppressed { under_maintenance });
        } else if state == AlarmState::Suppressed {
            self.moves(id, Input::Release, AlarmChange::Released);
        }
        match self.state.alarms.state(id) {
            state if condition != state.is_active() => {
                let (input, change) = if condition {
                    (Input::ConditionTrue, AlarmChange::Raised)
                } else {
                    (Input::ConditionFalse, AlarmChange::Cleared)
                };
                self.moves(id, input, change);
            }
            AlarmState::Acknowledged if self.is_due_again(id) => {
                self.moves(id, Input::AlarmAgain, AlarmChange::AlarmedAgain);
            }
            _ => {}
        }
    }

    /// False when it is shelved and its time is up, or cannot be told: a clock that was put back
    /// does not lengthen it.
    fn shelf_holds(&self, id: &AlarmId) -> bool {
        let shelved = |alarm: &&Alarm| alarm.state == AlarmState::Shelved;
        let Some(alarm) = self.state.alarms.all.get(id).filter(shelved) else {
            return true;
        };
        let (now, at_most) = (self.origin.at, self.plant.policy.alarms.shelve_at_most);
        alarm.shelved_until.is_some_and(|until| until > now && until.since(now) <= at_most)
    }

    /// The machine under maintenance from which the alarm follows. While it is suppressed, what it
    /// followed from at first counts.
    fn silencing(&self, id: &AlarmId, state: AlarmState) -> Option<MachineName> {
        if self.state.alarms.maintenance.is_empty() {
            return None;
        }
        let case = self.case(self.origin.at);
        let under = |machine: &&MachineName| self.state.alarms.maintenance.contains_key(*machine);
        if state == AlarmState::Suppressed
            && let Some(alarm) = self.state.alarms.all.get(id)
            && let Some(AlarmChange::Suppressed { under_maintenance }) = last_change(alarm)
        {
            return Some(under_maintenance).filter(under).cloned();
        }
        follows_from(&case, id).filter(under).cloned()
    }

    fn is_due_again(&self, id: &AlarmId) -> bool {
        let again = self.plant.policy.alarms.of(id.kind).re_alarm;
        let alarm = self.state.alarms.all.get(id);
        let known = alarm.filter(|alarm| alarm.state == AlarmState::Acknowledged);
        known.zip(again).is_some_and(|(alarm, again)| self.origin.at.since(alarm.since) >= again)
    }

    /// Moves an alarm as time and things have it: what cannot be done then is not done.
    fn moves(&mut self, id: &AlarmId, input: Input, change: AlarmChange) {
        let _ = self.move_alarm(id, input, change);
    }

    fn move_alarm(&mut self, id: &AlarmId, input: Input, change: AlarmChange) -> Done {
        let latching = self.plant.policy.alarms.of(id.kind).latching;
        let alarm = self.state.alarms.all.get(id);
        let silenced = alarm.filter(|alarm| alarm.state.is_silenced());
        let latched = silenced.is_some_and(|alarm| alarm.is_latched(latching));
        let condition = self.condition(id) || latched;
        let state = alarm.map_or(AlarmState::Normal, |alarm| alarm.state);
        match next(state, input, Circumstances { latching, condition }) {
            Next::Stays => Ok(()),
            Next::Refused(why) => Err(why.to_owned()),
            Next::To(to) => {
                let raised = (to == AlarmState::Unacknowledged).then(|| self.raised(id));
                let moved = AlarmMoved { id: id.clone(), to, change, raised };
                self.record(Event::Alarm(AlarmEvent::Moved(moved)));
                Ok(())
            }
        }
    }

    /// What is wrong now; of what is only latched, what was.
    fn raised(&self, id: &AlarmId) -> Raised {
        let known = self.state.alarms.all.get(id);
        let kept = known.and_then(|alarm| alarm.raised.clone()).filter(|_| !self.condition(id));
        kept.unwrap_or_else(|| {
            let case = self.case(self.origin.at);
            let priority = self.plant.policy.alarms.of(id.kind).priority;
            Raised { priority, what: describe(&case, id) }
        })
    }

    /// Does the same with several alarms. What cannot be done with one does not keep it from the
    /// others.
    pub(super) fn see_to(&mut self, alarms: &[AlarmId], act: &AlarmAct, by: &str) -> Reply {
        let alarms: BTreeSet<&AlarmId> = alarms.iter().collect();
        let each = alarms.into_iter().map(|id| (id, self.see_to_one(id, act, by)));
        let refused: Vec<(AlarmId, String)> =
            each.filter_map(|(id, done)| Some((id.clone(), done.err()?))).collect();
        Reply::Alarms { event: self.state.head, refused }
    }

    fn see_to_one(&mut self, id: &AlarmId, act: &AlarmAct, by: &str) -> Done {
        if !self.state.alarms.all.contains_key(id) {
            return Err("no such alarm was raised: take its id from the list of alarms".to_owned());
        }
        let by = by.to_owned();
        let (input, change) = match act.clone() {
            AlarmAct::Acknowledge { comment } => {
                (Input::Acknowledge, AlarmChange::Acknowledged { by, comment })
            }
            AlarmAct::Reset { comment } => (Input::Reset, AlarmChange::Reset { by, comment }),
            AlarmAct::Shelve { span, why } => {
                let until = self.shelf_end(span)?;
                (Input::Shelve, AlarmChange::Shelved { until, by, why })
            }
            AlarmAct::Unshelve => (Input::Unshelve, AlarmChange::Unshelved { by: Some(by) }),
            AlarmAct::TakeOut { why } => (Input::TakeOut, AlarmChange::TakenOut { by, why }),
            AlarmAct::Return => (Input::Return, AlarmChange::Returned { by }),
            AlarmAct::Comment { comment } => {
                let id = id.clone();
                self.record(Event::Alarm(AlarmEvent::Commented { id, by, comment }));
                return Ok(());
            }
        };
        self.move_alarm(id, input, change)
    }

    fn shelf_end(&self, span: Duration) -> Result<Timestamp, String> {
        let at_most = self.plant.policy.alarms.shelve_at_most;
        if span.is_zero() || span > at_most {
            let at_most = crate::time::in_words(at_most);
            return Err(format!("an alarm is shelved for some time, {at_most} at the most"));
        }
        Ok(self.origin.at.plus(span))
    }

    pub(super) fn begin_maintenance(&mut self, machine: &MachineName, by: &str, why: &str) -> Done {
        if !self.plant.machines.contains_key(machine) {
            return Err(format!("no machine {machine} is in the configuration: check the name"));
        }
        if let Some(begun) = self.state.alarms.maintenance.get(machine) {
            return Err(format!("{machine} is under maintenance already, by {}", begun.by));
        }
        let (machine, by, why) = (machine.clone(), by.to_owned(), why.to_owned());
        self.record(Event::Alarm(AlarmEvent::MaintenanceBegan { machine, by, why }));
        Ok(())
    }

    pub(super) fn end_maintenance(&mut self, machine: &MachineName, by: &str) -> Done {
        if !self.state.alarms.maintenance.contains_key(machine) {
            return Err(format!("{machine} is not under maintenance"));
        }
        let (machine, by) = (machine.clone(), by.to_owned());
        self.record(Event::Alarm(AlarmEvent::MaintenanceEnded { machine, by }));
        Ok(())
    }
}

/// What last moved an alarm, comments apart.
fn last_change(alarm: &Alarm) -> Option<&AlarmChange> {
    alarm.history.iter().rev().find_map(|entry| match &entry.happened {
        AlarmEvent::Moved(moved) => Some(&moved.change),
        _ => None,
    })
}
