//! How alarms of each kind behave: the plant's own policy; no standard gives these numbers.

use std::collections::BTreeMap;
use std::time::Duration;

use super::{AlarmKind, Priority};

/// How alarms of one kind behave.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct KindPolicy {
    /// False: no such alarm is raised.
    pub enabled: bool,
    /// How urgent it is when it is raised.
    pub priority: Priority,
    /// Its condition holds for so long before it is raised.
    pub on_delay: Duration,
    /// Its condition is gone for so long before it returns.
    pub off_delay: Duration,
    /// True when it stays until it is reset.
    pub latching: bool,
    /// Acknowledged for so long, it is told again; none: never.
    pub re_alarm: Option<Duration>,
    /// Each time so much has passed since it was raised it becomes more urgent; none: never.
    pub climb: Option<Duration>,
    /// What is measured raises it from here on.
    pub limit: u64,
    /// What is measured must fall by so much below the limit before it returns.
    pub deadband: u64,
}

impl KindPolicy {
    /// How a kind behaves unless the plant says otherwise. With these delays no alarm writes more
    /// than two events in ten seconds by itself.
    #[must_use]
    pub fn usual(kind: AlarmKind) -> Self {
        use Priority::{Critical, High, Low, Medium};
        let seconds = Duration::from_secs;
        let (priority, on, off) = match kind {
            AlarmKind::MachineFault => (Medium, 5, 60),
            AlarmKind::LinkLost => (Medium, 120, 30),
            AlarmKind::WashFailed => (Medium, 0, 10),
            AlarmKind::WashOverdue => (Low, 0, 10),
            AlarmKind::StorageBreached => (High, 0, 10),
            AlarmKind::CounterDoubted => (Low, 30, 30),
            AlarmKind::CounterRestarted => (Medium, 0, 60),
            AlarmKind::BasesDisagree => (Low, 0, 60),
            AlarmKind::StrokesUnattributed => (Low, 300, 10),
            AlarmKind::StencilStopped => (High, 0, 10),
            AlarmKind::IntakeFull => (High, 10, 60),
            AlarmKind::LedgerTrouble => (Critical, 0, 0),
        };
        let overdue = kind == AlarmKind::WashOverdue;
        let (limit, deadband) = match kind {
            AlarmKind::IntakeFull => (90, 40),
            _ => (1, 0),
        };
        Self {
            enabled: true,
            priority,
            on_delay: seconds(on),
            off_delay: seconds(off),
            latching: kind.is_momentary(),
            re_alarm: overdue.then_some(seconds(3_600)),
            climb: overdue.then_some(seconds(1_800)),
            limit,
            deadband,
        }
    }

    /// True when what is measured holds the alarm. `held`: it does already.
    #[must_use]
    pub fn reached(&self, measured: u64, held: bool) -> bool {
        measured >= if held { self.limit.saturating_sub(self.deadband) } else { self.limit }
    }

    /// How urgent it is so long after it was raised with `priority`.
    #[must_use]
    pub fn climbed(&self, priority: Priority, active: Duration) -> Priority {
        let step = self.climb.map(|climb| climb.as_millis()).filter(|step| *step > 0);
        priority.climbed(step.map_or(0, |step| active.as_millis() / step))
    }
}

/// The plant's policy on alarms.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AlarmPolicy {
    /// The kinds that behave otherwise than usual.
    pub kinds: BTreeMap<AlarmKind, KindPolicy>,
    /// Nobody may shelve an alarm for longer.
    pub shelve_at_most: Duration,
    /// Operator positions that share the alarms: the standards' measures are for each of them.
    pub operators: u32,
}

impl Default for AlarmPolicy {
    fn default() -> Self {
        let shelve_at_most = Duration::from_secs(8 * 3_600);
        Self { kinds: BTreeMap::new(), shelve_at_most, operators: 1 }
    }
}

impl AlarmPolicy {
    /// A plant without alarms.
    #[must_use]
    pub fn none() -> Self {
        let off = |kind| (kind, KindPolicy { enabled: false, ..KindPolicy::usual(kind) });
        Self { kinds: AlarmKind::ALL.map(off).into(), ..Self::default() }
    }

    /// How a kind behaves.
    #[must_use]
    pub fn of(&self, kind: AlarmKind) -> KindPolicy {
        self.kinds.get(&kind).copied().unwrap_or_else(|| KindPolicy::usual(kind))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The bound that the documentation states.
    #[test]
    fn no_usual_alarm_may_chatter() {
        for kind in AlarmKind::ALL.into_iter().filter(|kind| *kind != AlarmKind::LedgerTrouble) {
            let usual = KindPolicy::usual(kind);
            assert!(usual.on_delay + usual.off_delay >= Duration::from_secs(10), "{kind:?}");
            assert!(usual.deadband < usual.limit, "{kind:?}");
        }
    }

    #[test]
    fn a_deadband_holds_what_hovers_at_the_limit() {
        let policy = KindPolicy::usual(AlarmKind::IntakeFull);
        let mut held = false;
        let shown = [89, 90, 89, 51, 50, 49, 60, 90].map(|measured| {
            held = policy.reached(measured, held);
            held
        });
        assert_eq!(shown, [false, true, true, true, true, false, false, true]);
    }

    #[test]
    fn what_waits_too_long_for_its_wash_becomes_urgent() {
        let policy = KindPolicy::usual(AlarmKind::WashOverdue);
        let after = |minutes: u64| policy.climbed(Priority::Low, Duration::from_secs(60 * minutes));
        assert_eq!(after(29), Priority::Low);
        assert_eq!(after(30), Priority::Medium);
        assert_eq!(after(90), Priority::Critical);
        assert_eq!(after(10_000), Priority::Critical);
    }
}
