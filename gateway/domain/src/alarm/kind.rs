//! The kinds of alarm: what is wrong, what to do, and who does it.

use serde::{Deserialize, Serialize};

/// How urgent an alarm is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Priority {
    /// Within the shift.
    Low,
    /// Within the hour.
    Medium,
    /// Now.
    High,
    /// Now, before anything else.
    Critical,
}

impl Priority {
    /// All priorities, the least urgent first.
    pub const ALL: [Self; 4] = [Self::Low, Self::Medium, Self::High, Self::Critical];

    /// The priority's stable word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Low => "low",
            Self::Medium => "medium",
            Self::High => "high",
            Self::Critical => "critical",
        }
    }

    /// So many steps more urgent, at most critical.
    #[must_use]
    pub fn climbed(self, steps: u128) -> Self {
        let above = Self::ALL.into_iter().skip_while(|priority| *priority < self);
        above.take(usize::try_from(steps).unwrap_or(3).min(3) + 1).last().unwrap_or(self)
    }
}

/// A kind of alarm.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum AlarmKind {
    /// A machine tells of a fault.
    MachineFault,
    /// The link to a machine is lost.
    LinkLost,
    /// A stencil came out of its wash and is not clean.
    WashFailed,
    /// Paste dries in a stencil that waits for its wash.
    WashOverdue,
    /// A stencil is in a slot and may not be.
    StorageBreached,
    /// A counter shows what it cannot have counted.
    CounterDoubted,
    /// A counter began again while nobody listened.
    CounterRestarted,
    /// Two bases of a run disagree.
    BasesDisagree,
    /// Strokes nobody could attribute.
    StrokesUnattributed,
    /// A stencil at its end is in a printer, and no concession is in force.
    StencilStopped,
    /// Signals come faster than they can be made durable.
    IntakeFull,
    /// The ledger takes no writes. It cannot be told in the ledger: it is live only.
    LedgerTrouble,
}

/// What people are told of a kind.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct About {
    /// Its stable code.
    pub code: &'static str,
    /// What is wrong, in a sentence.
    pub wrong: &'static str,
    /// What to do about it.
    pub to_do: &'static str,
    /// Who does it.
    pub who: &'static str,
    /// When its condition ends.
    pub ends: &'static str,
}

impl AlarmKind {
    /// All kinds.
    pub const ALL: [Self; 12] = [
        Self::MachineFault,
        Self::LinkLost,
        Self::WashFailed,
        Self::WashOverdue,
        Self::StorageBreached,
        Self::CounterDoubted,
        Self::CounterRestarted,
        Self::BasesDisagree,
        Self::StrokesUnattributed,
        Self::StencilStopped,
        Self::IntakeFull,
        Self::LedgerTrouble,
    ];

    /// The kind's stable code.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        self.about().code
    }

    /// The kind of this code.
    #[must_use]
    pub fn of_code(code: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|kind| kind.as_str() == code)
    }

    /// True for what is found once and stays found: it holds until the alarm has told it.
    #[must_use]
    pub fn is_momentary(self) -> bool {
        matches!(self, Self::CounterRestarted | Self::BasesDisagree)
    }

    /// True when its condition is a number that reaches a limit.
    #[must_use]
    pub fn is_measured(self) -> bool {
        matches!(self, Self::StrokesUnattributed | Self::IntakeFull)
    }

    /// What people are told of it.
    #[must_use]
    #[expect(clippy::too_many_lines, reason = "one table: a few lines for each kind")]
    pub fn about(self) -> About {
        let (code, wrong, to_do, who, ends) = match self {
            Self::MachineFault => (
                "machine-fault",
                "a machine tells of a fault",
                "go to the machine and clear the fault",
                "technician",
                "the machine says that the fault is gone",
            ),
            Self::LinkLost => (
                "link-lost",
                "the link to a machine is lost: nothing it does is counted or guarded",
                "see that the machine is on, then its cable, switch and broker",
                "technician",
                "the link is up again",
            ),
            Self::WashFailed => (
                "wash-failed",
                "a stencil failed its wash or had it aborted: it is not clean",
                "look at it and wash it again; if it fails again, look at the washer",
                "operator",
                "the stencil passes a wash, or is retired",
            ),
            Self::WashOverdue => (
                "wash-overdue",
                "a printed stencil waits for its wash: paste dries in the apertures",
                "wash it now",
                "operator",
                "a wash of the stencil begins or is reported, or it is retired",
            ),
            Self::StorageBreached => (
                "storage-breached",
                "a stencil went into a slot without a permitted store",
                "take it out and wash it, then ask to store it",
                "operator",
                "the stencil passes a wash, is stored with permission, or is retired; of a \
                 stencil nobody could name: its slot empties, or shows which one it holds",
            ),
            Self::CounterDoubted => (
                "counter-doubted",
                "a counter jumped further than its machine could have worked",
                "see whether it was reset or misread, and whether its address is right",
                "engineer",
                "the counter is believed again: a read goes on from a value that counts",
            ),
            Self::CounterRestarted => (
                "counter-restarted",
                "a counter began again while nobody listened: strokes may be lost",
                "ask the line how many were made, enter them by hand, then reset the alarm",
                "engineer",
                "at once; the alarm stays until it is reset",
            ),
            Self::BasesDisagree => (
                "bases-disagree",
                "two ways of counting the strokes of a run lie too far apart",
                "compare both with the line's record, correct what is wrong, then reset the alarm",
                "engineer",
                "at once; the alarm stays until it is reset",
            ),
            Self::StrokesUnattributed => (
                "strokes-unattributed",
                "a printer made strokes, and nobody can say with which stencil",
                "ask the line which stencil was in it, then assign them or write them off",
                "operator",
                "fewer than the limit less the deadband are open",
            ),
            Self::StencilStopped => (
                "stencil-stopped",
                "a stencil at the end of its life is in a printer, and no concession is in force",
                "take it out and use its successor, or ask a manager for a concession",
                "operator",
                "it leaves the printer, or a concession comes into force",
            ),
            Self::IntakeFull => (
                "intake-full",
                "signals come faster than they can be made durable: links are held up",
                "look for a machine that floods, and for a slow disk",
                "engineer",
                "the intake is filled less than the limit less the deadband",
            ),
            Self::LedgerTrouble => (
                "ledger-trouble",
                "the ledger takes no writes: all outputs refuse, and links wait",
                "free the disk or mend its mount; the gateway goes on by itself",
                "engineer",
                "the ledger takes writes again",
            ),
        };
        About { code, wrong, to_do, who, ends }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn codes_are_the_ledgers_words() {
        for kind in AlarmKind::ALL {
            let written = serde_json::to_value(kind).unwrap();
            assert_eq!(written.as_str(), Some(kind.as_str()));
            assert_eq!(AlarmKind::of_code(kind.as_str()), Some(kind));
        }
    }

    #[test]
    fn a_priority_climbs_to_the_top_and_no_further() {
        let climb = |steps| Priority::Medium.climbed(steps);
        assert_eq!([0, 1, 2, 3].map(climb), {
            use Priority::{Critical, High, Medium};
            [Medium, High, Critical, Critical]
        });
        assert_eq!(Priority::Low.climbed(u128::MAX), Priority::Critical);
    }
}
