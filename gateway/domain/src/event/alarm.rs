//! What happened to alarms, and which machines people work on.

use serde::{Deserialize, Serialize};

use super::Stream;
use crate::alarm::{AlarmId, AlarmState, Priority};
use crate::names::MachineName;
use crate::time::Timestamp;

/// One fact about an alarm, or about a maintenance that silences some.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "alarm", rename_all = "kebab-case")]
pub enum AlarmEvent {
    /// An alarm went from one state to another.
    Moved(AlarmMoved),
    /// A person said something about an alarm.
    Commented {
        /// Which.
        #[serde(flatten)]
        id: AlarmId,
        /// Who.
        by: String,
        /// What.
        comment: String,
    },
    /// People work on a machine: alarms that follow from it are suppressed.
    MaintenanceBegan {
        /// Which machine.
        machine: MachineName,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// They are done.
    MaintenanceEnded {
        /// Which machine.
        machine: MachineName,
        /// Who.
        by: String,
    },
}

/// An alarm went from one state to another.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct AlarmMoved {
    /// Which.
    #[serde(flatten)]
    pub id: AlarmId,
    /// The state it is in now. It is written here, so that a policy that changes later changes
    /// nothing that was.
    pub to: AlarmState,
    /// What moved it.
    #[serde(flatten)]
    pub change: AlarmChange,
    /// What is wrong, when it is unacknowledged from now on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub raised: Option<Raised>,
}

/// What is wrong, and how urgent it is.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Raised {
    /// How urgent.
    pub priority: Priority,
    /// What is wrong, in words.
    pub what: String,
}

/// What moved an alarm. `by`: who; where it is missing, time or the state of things did.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(tag = "change", rename_all = "kebab-case")]
pub enum AlarmChange {
    /// Its condition holds.
    Raised,
    /// Its condition is gone.
    Cleared,
    /// A person knows.
    Acknowledged {
        /// Who.
        by: String,
        /// What he says about it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        comment: Option<String>,
    },
    /// A person let go of a latched alarm.
    Reset {
        /// Who.
        by: String,
        /// What he says about it.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        comment: Option<String>,
    },
    /// A person put it aside.
    Shelved {
        /// Until then, at the latest.
        until: Timestamp,
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// It is no longer put aside.
    Unshelved {
        /// Who; none when its time was up.
        #[serde(default, skip_serializing_if = "Option::is_none")]
        by: Option<String>,
    },
    /// It follows from a machine that people work on.
    Suppressed {
        /// That machine.
        under_maintenance: MachineName,
    },
    /// That is over.
    Released,
    /// A person took it out of service.
    TakenOut {
        /// Who.
        by: String,
        /// Why.
        why: String,
    },
    /// A person put it back into service.
    Returned {
        /// Who.
        by: String,
    },
    /// It was acknowledged for long, and is told again.
    AlarmedAgain,
}

impl AlarmChange {
    /// The person who did it.
    #[must_use]
    pub fn by(&self) -> Option<&str> {
        match self {
            Self::Acknowledged { by, .. }
            | Self::Reset { by, .. }
            | Self::Shelved { by, .. }
            | Self::TakenOut { by, .. }
            | Self::Returned { by } => Some(by),
            Self::Unshelved { by } => by.as_deref(),
            Self::Raised
            | Self::Cleared
            | Self::Suppressed { .. }
            | Self::Released
            | Self::AlarmedAgain => None,
        }
    }
}

impl AlarmEvent {
    /// The stream it belongs to: that of what the alarm is about.
    #[must_use]
    pub fn stream(&self) -> Stream {
        match self {
            Self::Moved(AlarmMoved { id, .. }) | Self::Commented { id, .. } => id.subject.stream(),
            Self::MaintenanceBegan { machine, .. } | Self::MaintenanceEnded { machine, .. } => {
                Stream::Machine(machine.clone())
            }
        }
    }
}
