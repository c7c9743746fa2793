//! Requests of people and programs that bore a key, by which one that is sent again is known, also
//! after a restart.

use std::collections::{BTreeMap, VecDeque};
use std::sync::Arc;

use serde::{Deserialize, Serialize};

use crate::event::Position;

/// Keys kept; the oldest are forgotten first.
pub const KEYS_KEPT: usize = 4_096;

/// Whose key it was, and of which request.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct RequestKey {
    /// The key, and who sent it.
    pub name: Arc<str>,
    /// What was asked with it.
    pub of: Arc<str>,
}

/// What was asked with a key.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Carried {
    /// The request.
    pub of: Arc<str>,
    /// The last event that followed from it.
    pub event: Position,
}

/// The requests that were carried out.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Asked {
    order: VecDeque<Arc<str>>,
    by_name: BTreeMap<Arc<str>, Carried>,
}

impl Asked {
    /// Something followed from a request.
    pub(crate) fn note(&mut self, key: &RequestKey, event: Position) {
        let RequestKey { name, of } = key;
        let carried = Carried { of: Arc::clone(of), event };
        if self.by_name.insert(Arc::clone(name), carried).is_none() {
            self.order.push_back(Arc::clone(name));
        }
        if self.order.len() > KEYS_KEPT
            && let Some(oldest) = self.order.pop_front()
        {
            self.by_name.remove(&oldest);
        }
    }

    /// What was carried out with the key of this name.
    #[must_use]
    pub fn with(&self, name: &str) -> Option<&Carried> {
        self.by_name.get(name)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn the_oldest_is_forgotten_and_the_last_event_counts() {
        let mut asked = Asked::default();
        let mut note = |name: u64, event| {
            let key = RequestKey { name: name.to_string().into(), of: "a".into() };
            asked.note(&key, Position(event));
        };
        (0..=KEYS_KEPT as u64).for_each(|number| note(number, number));
        note(1, 9_999);
        assert_eq!(asked.with("0"), None);
        assert_eq!(asked.with("1").map(|carried| carried.event), Some(Position(9_999)));
        assert_eq!(asked.order.len(), KEYS_KEPT);
    }
}
