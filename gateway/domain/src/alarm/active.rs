//! The alarms that stand, as programs and people are shown them.

use std::borrow::Cow;

use serde::Serialize;

use super::{Alarm, AlarmId, AlarmKind, AlarmState, Priority, Subject};
use crate::event::Position;
use crate::rules::Case;
use crate::time::Timestamp;

/// A text of the program, or one that was made.
pub type Text = Cow<'static, str>;

/// An alarm that is not normal.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ActiveAlarm {
    /// By which it is named.
    pub id: String,
    /// The stable code of its kind.
    pub code: &'static str,
    /// What it is about.
    pub subject: Subject,
    /// How urgent it is now.
    pub priority: Priority,
    /// Its state.
    pub state: AlarmState,
    /// When it was raised; for one that was silenced before it was raised, since when it is.
    pub since: Timestamp,
    /// What is wrong.
    pub text: Text,
    /// What to do about it.
    pub to_do: &'static str,
    /// Who does it.
    pub who: &'static str,
    /// Until when it is shelved.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub until: Option<Timestamp>,
    /// The event that put it into its state; none of one that is live only.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub because: Option<Position>,
}

impl ActiveAlarm {
    /// How an alarm shows at the case's time.
    #[must_use]
    pub fn of(case: &Case<'_>, id: &AlarmId, alarm: &Alarm) -> Self {
        let policy = case.plant.policy.alarms.of(id.kind);
        let about = id.kind.about();
        let (priority, text, since) = match &alarm.raised {
            Some(raised) => {
                let active = case.now.since(alarm.raised_at);
                let urgent = policy.climbed(raised.priority, active);
                let priority = if alarm.state.is_active() { urgent } else { raised.priority };
                (priority, Cow::Owned(raised.what.clone()), alarm.raised_at)
            }
            None => (policy.priority, Cow::Borrowed(about.wrong), alarm.since),
        };
        Self {
            id: id.to_string(),
            code: about.code,
            subject: id.subject.clone(),
            priority,
            state: alarm.state,
            since,
            text,
            to_do: about.to_do,
            who: about.who,
            until: alarm.shelved_until,
            because: Some(alarm.because),
        }
    }

    /// The ledger's trouble since then: it cannot be told in the ledger.
    #[must_use]
    pub fn ledger_trouble(why: String, since: Timestamp) -> Self {
        let id = AlarmId { kind: AlarmKind::LedgerTrouble, subject: Subject::Gateway };
        let about = id.kind.about();
        Self {
            id: id.to_string(),
            code: about.code,
            subject: id.subject,
            priority: Priority::Critical,
            state: AlarmState::Unacknowledged,
            since,
            text: Cow::Owned(why),
            to_do: about.to_do,
            who: about.who,
            until: None,
            because: None,
        }
    }
}

/// The alarms that stand, the most urgent first, of equal ones the oldest.
#[must_use]
pub fn active(case: &Case<'_>) -> Vec<ActiveAlarm> {
    let standing = case.state.alarms.standing();
    let mut all: Vec<_> = standing.map(|(id, alarm)| ActiveAlarm::of(case, id, alarm)).collect();
    all.sort_by(|one, other| {
        let urgent = other.priority.cmp(&one.priority);
        urgent.then(one.since.cmp(&other.since)).then_with(|| one.id.cmp(&other.id))
    });
    all
}
