//! The answer to "may this stencil be stored, taken, printed with", with every reason.

use std::fmt;

use serde::{Deserialize, Serialize};

use crate::event::Position;
use crate::names::{MachineName, OrderName, SlotName, StencilCode};
use crate::reason::Reason;

/// What is asked.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Rule {
    /// Put it into storage.
    Store,
    /// Take it out of storage.
    Take,
    /// Print with it.
    Print,
}

impl Rule {
    /// All rules.
    pub const ALL: [Self; 3] = [Self::Store, Self::Take, Self::Print];

    /// The rule's stable word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Store => "store",
            Self::Take => "take",
            Self::Print => "print",
        }
    }
}

/// One reason of a refusal and the event that made it so.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Cause {
    /// Why.
    #[serde(flatten)]
    pub reason: Reason,
    /// The event that made it so, where there is one.
    #[serde(skip_serializing_if = "Option::is_none")]
    pub because: Option<Position>,
}

/// A reason as programs and people are told it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct ToldReason {
    /// The reason's stable code.
    pub code: &'static str,
    /// What is wrong and what to do.
    pub sentence: String,
    /// The event that made it so, where there is one.
    pub because: Option<Position>,
}

/// A decision. It permits exactly when it has no reason against.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Decision {
    /// What was asked.
    pub rule: Rule,
    /// About which stencil; none when a printer holds nothing known.
    pub stencil: Option<StencilCode>,
    /// At which rack or printer; none when a person asks in general.
    pub machine: Option<MachineName>,
    /// Into or out of which slot.
    pub slot: Option<SlotName>,
    /// For which order.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub order: Option<OrderName>,
    /// Who asked, when a person did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// Every reason against it.
    pub reasons: Vec<Cause>,
}

impl Decision {
    /// True when nothing speaks against it.
    #[must_use]
    pub fn permitted(&self) -> bool {
        self.reasons.is_empty()
    }

    /// True when all that speaks against it is that somebody else was permitted first: what they
    /// were permitted stands.
    #[must_use]
    pub fn only_promised(&self) -> bool {
        let promised = |cause: &Cause| matches!(cause.reason, Reason::Promised { .. });
        !self.permitted() && self.reasons.iter().all(promised)
    }

    /// Its reasons as programs and people are told them.
    #[must_use]
    pub fn told_reasons(&self) -> Vec<ToldReason> {
        told(&self.reasons)
    }

    /// `permitted` or `refused`.
    #[must_use]
    pub fn outcome(&self) -> &'static str {
        if self.permitted() { "permitted" } else { "refused" }
    }
}

/// Reasons as programs and people are told them.
#[must_use]
pub fn told(reasons: &[Cause]) -> Vec<ToldReason> {
    let told = |cause: &Cause| ToldReason {
        code: cause.reason.code(),
        sentence: cause.reason.to_string(),
        because: cause.because,
    };
    reasons.iter().map(told).collect()
}

impl fmt::Display for Decision {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let stencil = self.stencil.as_ref().map_or("no stencil", StencilCode::as_str);
        write!(f, "{} {} {stencil}", self.outcome(), self.rule.as_str())?;
        for (index, cause) in self.reasons.iter().enumerate() {
            write!(f, "{} {}", if index == 0 { ":" } else { ";" }, cause.reason)?;
        }
        Ok(())
    }
}
