//! How alarms behave, as the plant's author writes it.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_adapters::settings::Span;
use stencilward_domain::alarm::{AlarmKind, AlarmPolicy, KindPolicy, Priority};

/// How alarms behave. Each kind is set by its code.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct AlarmsSettings {
    /// Nobody may shelve an alarm for longer: 8h unless set.
    pub shelve_at_most: Option<Span>,
    /// Operator positions that share the alarms, for the standards' measures: 1 unless set.
    #[schemars(range(min = 1, max = 1000))]
    pub operators: Option<u32>,
    /// A machine tells of a fault.
    pub machine_fault: AlarmSettings,
    /// The link to a machine is lost.
    pub link_lost: AlarmSettings,
    /// A stencil failed its wash.
    pub wash_failed: AlarmSettings,
    /// A printed stencil waits for its wash for too long.
    pub wash_overdue: AlarmSettings,
    /// A stencil is in a slot and may not be.
    pub storage_breached: AlarmSettings,
    /// A counter shows what it cannot have counted.
    pub counter_doubted: AlarmSettings,
    /// A counter began again while nobody listened.
    pub counter_restarted: AlarmSettings,
    /// Two bases of a run disagree.
    pub bases_disagree: AlarmSettings,
    /// Strokes nobody could attribute; `limit` and `deadband` are strokes open at a printer.
    pub strokes_unattributed: AlarmSettings,
    /// A stencil at its end is in a printer.
    pub stencil_stopped: AlarmSettings,
    /// Signals wait for the ledger; `limit` and `deadband` are per cent of the intake.
    pub intake_full: AlarmSettings,
}

/// How alarms of one kind behave; what is not set stays as usual for the kind.
#[derive(Debug, Clone, Default, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct AlarmSettings {
    /// False: no such alarm is raised.
    pub enabled: Option<bool>,
    /// How urgent it is when it is raised.
    pub priority: Option<PriorityWord>,
    /// Its condition holds for so long before it is raised.
    pub on_delay: Option<Span>,
    /// Its condition is gone for so long before it returns: at least 1s.
    pub off_delay: Option<Span>,
    /// True when it stays until it is reset.
    pub latching: Option<bool>,
    /// Acknowledged for so long, it is told again.
    pub re_alarm: Option<Span>,
    /// Each time so much has passed it becomes more urgent.
    pub climb: Option<Span>,
    /// What is measured raises it from here on.
    #[schemars(range(min = 1))]
    pub limit: Option<u64>,
    /// What is measured must fall by so much below the limit before it returns.
    pub deadband: Option<u64>,
}

/// How urgent an alarm is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum PriorityWord {
    /// Within the shift.
    Low,
    /// Within the hour.
    Medium,
    /// Now.
    High,
    /// Now, before anything else.
    Critical,
}

impl From<PriorityWord> for Priority {
    fn from(word: PriorityWord) -> Self {
        match word {
            PriorityWord::Low => Self::Low,
            PriorityWord::Medium => Self::Medium,
            PriorityWord::High => Self::High,
            PriorityWord::Critical => Self::Critical,
        }
    }
}

impl AlarmsSettings {
    fn kinds(&self) -> [(AlarmKind, &AlarmSettings); 11] {
        [
            (AlarmKind::MachineFault, &self.machine_fault),
            (AlarmKind::LinkLost, &self.link_lost),
            (AlarmKind::WashFailed, &self.wash_failed),
            (AlarmKind::WashOverdue, &self.wash_overdue),
            (AlarmKind::StorageBreached, &self.storage_breached),
            (AlarmKind::CounterDoubted, &self.counter_doubted),
            (AlarmKind::CounterRestarted, &self.counter_restarted),
            (AlarmKind::BasesDisagree, &self.bases_disagree),
            (AlarmKind::StrokesUnattributed, &self.strokes_unattributed),
            (AlarmKind::StencilStopped, &self.stencil_stopped),
            (AlarmKind::IntakeFull, &self.intake_full),
        ]
    }

    /// What the rules need of it.
    pub(crate) fn policy(&self) -> AlarmPolicy {
        let usual = AlarmPolicy::default();
        let set = self.kinds().into_iter().filter(|(_, set)| **set != AlarmSettings::default());
        AlarmPolicy {
            kinds: set.map(|(kind, set)| (kind, set.policy(kind))).collect(),
            shelve_at_most: self.shelve_at_most.map_or(usual.shelve_at_most, |span| span.0),
            operators: self.operators.unwrap_or(usual.operators),
        }
    }

    /// What is wrong with it: the key below it, and the fault.
    pub(crate) fn check(&self) -> Vec<(String, String)> {
        let mut found = Vec::new();
        if self.shelve_at_most.is_some_and(|span| span.0.is_zero()) {
            let wrong = "nothing could be shelved: write a time, such as 8h";
            found.push(("shelve-at-most".to_owned(), wrong.to_owned()));
        }
        for (kind, set) in self.kinds() {
            for (key, wrong) in set.check(kind) {
                found.push((format!("{}.{key}", kind.as_str()), wrong));
            }
        }
        found
    }
}

impl AlarmSettings {
    fn policy(&self, kind: AlarmKind) -> KindPolicy {
        let usual = KindPolicy::usual(kind);
        KindPolicy {
            enabled: self.enabled.unwrap_or(usual.enabled),
            priority: self.priority.map_or(usual.priority, Into::into),
            on_delay: self.on_delay.map_or(usual.on_delay, |span| span.0),
            off_delay: self.off_delay.map_or(usual.off_delay, |span| span.0),
            latching: self.latching.unwrap_or(usual.latching),
            re_alarm: self.re_alarm.map(|span| span.0).or(usual.re_alarm),
            climb: self.climb.map(|span| span.0).or(usual.climb),
            limit: self.limit.unwrap_or(usual.limit),
            deadband: self.deadband.unwrap_or(usual.deadband),
        }
    }

    fn check(&self, kind: AlarmKind) -> Vec<(&'static str, String)> {
        let mut found = Vec::new();
        let second = std::time::Duration::from_secs(1);
        let spans = [
            ("off-delay", self.off_delay, second),
            ("re-alarm", self.re_alarm, 60 * second),
            ("climb", self.climb, 60 * second),
        ];
        for (key, span, least) in spans {
            if span.is_some_and(|span| span.0 < least) {
                let least = stencilward_domain::time::in_words(least);
                found
                    .push((key, format!("write at least {least}: it would tell of every flicker")));
            }
        }
        if !kind.is_measured() {
            for (key, set) in [("limit", self.limit), ("deadband", self.deadband)] {
                if set.is_some() {
                    found.push((key, "nothing is measured for it: leave this out".to_owned()));
                }
            }
        }
        let policy = self.policy(kind);
        if kind.is_measured() && policy.deadband >= policy.limit {
            let limit = policy.limit;
            found.push(("deadband", format!("it could never return: write less than {limit}")));
        }
        if kind.is_momentary() && self.latching == Some(false) {
            let wrong =
                "it is over at once and would be gone before anybody saw it: leave this out";
            found.push(("latching", wrong.to_owned()));
        }
        found
    }
}
