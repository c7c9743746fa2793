//! What later turns out to be doubtful: a machine's clock, a decision.

use std::fmt;

use serde::{Deserialize, Serialize};

use super::Position;
use crate::decision::{Cause, Rule};
use crate::names::{MachineName, StencilCode};
use crate::time::Timestamp;

/// What is wrong with a machine's clock.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum ClockWrong {
    /// It tells a time that has not come.
    Ahead,
    /// It tells a time before what it told last, though its messages come in order.
    Back,
}

impl ClockWrong {
    /// What is wrong in words, with what to do.
    #[must_use]
    pub fn in_words(self) -> &'static str {
        match self {
            Self::Ahead => {
                "its clock tells a time that has not come; what it says counts from when it comes, \
                 until its clock goes evenly: set it"
            }
            Self::Back => {
                "its clock went back; what it says counts from when it comes, until its clock goes \
                 evenly: see who sets it"
            }
        }
    }
}

/// A machine told a time that cannot be.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct ClockDoubted {
    /// Which machine.
    pub machine: MachineName,
    /// The time it told.
    pub told: Timestamp,
    /// What is wrong with it.
    pub wrong: ClockWrong,
}

/// A permitted decision would have been refused, had it been known what came late.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct DecisionDoubted {
    /// About which stencil it was.
    pub stencil: StencilCode,
    /// What it permitted.
    pub rule: Rule,
    /// At which rack or printer; none when a person asked in general.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub machine: Option<MachineName>,
    /// The event that tells of the decision.
    pub decision: Position,
    /// The event that was told too late for it.
    pub late: Position,
    /// The reasons it would have had against it.
    pub reasons: Vec<Cause>,
}

impl fmt::Display for DecisionDoubted {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let (rule, stencil) = (self.rule.as_str(), &self.stencil);
        write!(
            f,
            "{rule} {stencil} was permitted ({}) and would have been refused",
            self.decision
        )?;
        for (index, cause) in self.reasons.iter().enumerate() {
            write!(f, "{} {}", if index == 0 { ":" } else { ";" }, cause.reason)?;
        }
        write!(f, " (told late: {})", self.late)
    }
}
