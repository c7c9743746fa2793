//! Alarms: what needs a person's action, from the moment it does until somebody has seen to it.
//!
//! Conditions follow from the state ([`conditions`]), delays hold what chatters ([`Followed`]),
//! one table says what happens next ([`next`]), and events carry it on ([`Alarms`]). No decision
//! looks at an alarm.

mod active;
mod book;
mod conditions;
mod findings;
mod follow;
mod kind;
mod policy;
mod subject;
mod transition;

pub use active::{ActiveAlarm, Text, active};
pub use book::{Alarm, Alarms, Entry, Maintenance};
pub use conditions::{Holds, conditions, describe, follows_from};
pub use findings::Finding;
pub use follow::Followed;
pub use kind::{About, AlarmKind, Priority};
pub use policy::{AlarmPolicy, KindPolicy};
pub use subject::{AlarmId, NoAlarm, Subject};
pub use transition::{AlarmState, Circumstances, Input, Next, next};
