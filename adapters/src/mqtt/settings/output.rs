//! Outputs: what the gateway publishes for a machine, and how the machine answers.

use std::time::Duration;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::settings::{Drive, Span};

/// Something the gateway publishes so that a machine may go on, or knows the gateway is alive.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Output {
    /// Its name, as logs and metrics show it.
    pub name: String,
    /// What it follows.
    pub drive: Drive,
    /// The topic it is published on.
    pub topic: String,
    /// The payload that lets the machine go on.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub permit: Option<String>,
    /// The payload that does not.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub refuse: Option<String>,
    /// The topic on which the machine tells its real state, with the same two words unless
    /// `shows` gives others.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub read_back: Option<String>,
    /// Pointer to that word in the read-back's payload; without it, the whole payload.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<String>,
    /// The two words of the read-back, where they are not the payloads that are published.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub shows: Option<Shows>,
    /// Whether the broker keeps the last value for a machine that comes later: true unless set,
    /// and never for a command that is answered.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub retain: Option<bool>,
    /// Pointer to where a command's number is put into the two payloads, which are JSON then.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub number: Option<String>,
    /// How the machine answers. The output is a command then: repeated with the same number until
    /// it is answered, and shown as obeyed only when the machine says so.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub answer: Option<Answer>,
}

/// The two words in which a machine tells its real state.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Shows {
    /// It goes on.
    pub permit: String,
    /// It does not.
    pub refuse: String,
}

/// How a machine answers a command.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Answer {
    /// The topic the machine answers on.
    pub topic: String,
    /// Pointer to the number of the command that is answered. Needed unless the broker's version
    /// is 5.0 and the machine gives the correlation data back.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub number: Option<String>,
    /// Pointer to the word that says what became of the command; without it, the whole payload.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<String>,
    /// The words that mean that it is done.
    pub done: Vec<String>,
    /// The words that mean that the machine will not do it.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub refused: Vec<String>,
    /// Pointer to why it will not, in the machine's own words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub text: Option<String>,
    /// How long the machine has for its answer, until the command is told again.
    #[serde(default = "five_seconds")]
    pub within: Span,
}

impl Output {
    /// Whether the broker shall keep what is published.
    pub(in crate::mqtt) fn retained(&self) -> bool {
        self.answer.is_none() && self.retain.unwrap_or(true)
    }

    /// The payload that permits, or refuses.
    pub(in crate::mqtt) fn word(&self, permits: bool) -> &str {
        let word = if permits { &self.permit } else { &self.refuse };
        word.as_deref().unwrap_or_default()
    }

    /// The word of the read-back that says that it permits, or refuses.
    pub(in crate::mqtt) fn shown_word(&self, permits: bool) -> &str {
        match &self.shows {
            Some(shows) if permits => &shows.permit,
            Some(shows) => &shows.refuse,
            None => self.word(permits),
        }
    }
}

fn five_seconds() -> Span {
    Span(Duration::from_secs(5))
}
