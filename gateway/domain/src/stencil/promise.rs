//! A stencil that somebody was permitted to take.

use serde::{Deserialize, Serialize};

use super::{Sourced, Stencil};
use crate::decision::Rule;
use crate::event::{Event, Recorded};
use crate::time::Timestamp;

/// Who was permitted to take a stencil, and how long they may.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
pub struct Promise {
    /// Who.
    pub to: String,
    /// Until when.
    pub until: Timestamp,
}

impl Stencil {
    /// A permission to take it binds until it is used, or a later answer takes its place.
    pub(super) fn apply_promise(&mut self, recorded: &Recorded) {
        match &recorded.fact.event {
            Event::Decided { decision, valid_until } => match decision.rule {
                Rule::Take if !decision.only_promised() => {
                    let to = decision.by.clone().zip(*valid_until);
                    self.promised = to.map(|(to, until)| Sourced {
                        value: Promise { to, until },
                        since: recorded.fact.at,
                        because: recorded.position,
                    });
                }
                Rule::Store if decision.permitted() => self.promised = None,
                _ => {}
            },
            Event::Taken { .. }
            | Event::Stored { .. }
            | Event::SlotFound { .. }
            | Event::StorageBreached { .. }
            | Event::Seated { .. }
            | Event::Loaded { .. }
            | Event::WashBegan { .. } => self.promised = None,
            _ => {}
        }
    }
}
