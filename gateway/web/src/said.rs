//! What a request's body says, checked.

use axum::http::StatusCode;
use serde::Deserialize;
use stencilward_domain::names::{BadName, MachineName, OrderName, StencilCode};
use stencilward_domain::signal::WashOutcome;
use stencilward_domain::time::Timestamp;

use crate::door::Who;
use crate::problem::Problem;

/// Longest free text, in characters.
const LONGEST_TEXT: usize = 500;

/// What an action may say; each action needs its own part of it.
#[derive(Debug, Default, Deserialize)]
#[serde(deny_unknown_fields)]
pub(crate) struct Said {
    by: Option<String>,
    why: Option<String>,
    strokes: Option<u64>,
    /// Milliseconds since 1970.
    pub(crate) until: Option<Timestamp>,
    pub(crate) rack: Option<String>,
    pub(crate) slot: Option<String>,
    pub(crate) order: Option<String>,
    stencil: Option<String>,
    machine: Option<String>,
    /// Boards.
    pub(crate) made: Option<u64>,
    pub(crate) outcome: Option<WashOutcome>,
}

impl Said {
    /// Who signed in acts, whatever is said.
    pub(crate) fn by_who_signed_in(mut self, who: &Who) -> Self {
        self.by = who.or_claimed(self.by);
        self
    }

    pub(crate) fn by(&self) -> Result<String, Problem> {
        by(self.by.as_deref())
    }

    pub(crate) fn by_if_said(&self) -> Result<Option<String>, Problem> {
        self.by.is_some().then(|| self.by()).transpose()
    }

    pub(crate) fn why(&self) -> Result<String, Problem> {
        why(self.why.as_deref())
    }

    pub(crate) fn strokes(&self) -> Result<u64, Problem> {
        self.strokes.ok_or_else(|| bad("strokes is missing: how many"))
    }

    pub(crate) fn stencil(&self) -> Result<StencilCode, Problem> {
        name("stencil", self.stencil.as_ref(), StencilCode::new)?
            .ok_or_else(|| bad("stencil is missing: the code that was scanned"))
    }

    pub(crate) fn machine(&self) -> Result<MachineName, Problem> {
        name("machine", self.machine.as_ref(), MachineName::new)?
            .ok_or_else(|| bad("machine is missing: the printer that made the strokes"))
    }

    pub(crate) fn order(&self) -> Result<OrderName, Problem> {
        name("order", self.order.as_ref(), OrderName::new)?
            .ok_or_else(|| bad("order is missing: its number"))
    }
}

/// Who does this.
pub(crate) fn by(text: Option<&str>) -> Result<String, Problem> {
    needed("by", "who does this", text)
}

/// For what reason.
pub(crate) fn why(text: Option<&str>) -> Result<String, Problem> {
    needed("why", "the reason, in words", text)
}

pub(crate) fn bad(detail: impl Into<String>) -> Problem {
    Problem::new(StatusCode::BAD_REQUEST, detail)
}

/// A text that must be there, and may not be too long.
pub(crate) fn needed(key: &str, meaning: &str, text: Option<&str>) -> Result<String, Problem> {
    match text.map(str::trim) {
        None | Some("") => Err(bad(format!("{key} is missing: {meaning}"))),
        Some(text) if text.chars().count() > LONGEST_TEXT => {
            Err(bad(format!("{key} is longer than {LONGEST_TEXT} characters")))
        }
        Some(text) => Ok(text.to_owned()),
    }
}

pub(crate) fn name<T>(
    key: &str,
    text: Option<&String>,
    new: fn(&str) -> Result<T, BadName>,
) -> Result<Option<T>, Problem> {
    text.map(|text| new(text).map_err(|error| bad(format!("{key}: {error}")))).transpose()
}
