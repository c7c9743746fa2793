//! What differs between two configurations, in words.

use serde::Serialize;
use serde_json::{Map, Value};

use crate::configuration::Configuration;

/// Longest value shown of a change, in characters.
const LONGEST_SHOWN: usize = 80;

/// Lists whose entries are known by a name: the list, the name's key, and what an entry is.
const NAMED: [(&str, &str, &str); 6] = [
    ("brokers", "name", "broker"),
    ("cfx", "name", "CFX endpoint"),
    ("machines", "name", "machine"),
    ("products", "name", "product"),
    ("sparkplug", "broker", "sparkplug at"),
    ("stencils", "code", "stencil"),
];

/// What happened to a part of the configuration.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize)]
#[serde(rename_all = "kebab-case")]
pub enum Difference {
    /// It is new.
    Added,
    /// It is gone.
    Removed,
    /// It has another value.
    Changed,
}

/// One difference.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Change {
    /// What it is about: `machine printer-1`, `stencil ST-1`, or `the plant`.
    pub of: String,
    /// The key within it; none when the whole of it is added or removed.
    pub key: Option<String>,
    /// What happened.
    pub change: Difference,
    /// All of it in words.
    pub words: String,
}

impl Configuration {
    /// What `other` has that this has not, has not that this has, or has otherwise. Values that
    /// are not written count as what they are unless set.
    #[must_use]
    pub fn changes(&self, other: &Self) -> Vec<Change> {
        let (was, is) = (whole(self), whole(other));
        let mut changes = Vec::new();
        let mut plant = Found { of: "the plant", changes: &mut changes };
        for (key, is) in &is {
            let listed = NAMED.iter().any(|(list, ..)| list == key);
            if !listed && let Some(was) = was.get(key) {
                plant.compare(key, was, is);
            }
        }
        for (list, name, what) in NAMED {
            entries(&was, &is, (list, name, what), &mut changes);
        }
        changes
    }
}

fn whole(configuration: &Configuration) -> Map<String, Value> {
    match serde_json::to_value(configuration) {
        Ok(Value::Object(keys)) => keys,
        // Whatever is read from a file can be written.
        _ => Map::new(),
    }
}

/// Compares the entries of a list by their names.
fn entries(
    was: &Map<String, Value>,
    is: &Map<String, Value>,
    (list, name, what): (&str, &str, &str),
    changes: &mut Vec<Change>,
) {
    let named = |whole: &Map<String, Value>| -> Vec<(String, Value)> {
        let entries = whole.get(list).and_then(Value::as_array).into_iter().flatten();
        let named = entries.map(|entry| (text(entry.get(name)), entry.clone()));
        named.collect()
    };
    let (was, is) = (named(was), named(is));
    let find = |all: &[(String, Value)], name: &str| {
        all.iter().find(|(other, _)| other == name).map(|(_, entry)| entry.clone())
    };
    for (name, _) in was.iter().filter(|(name, _)| find(&is, name).is_none()) {
        changes.push(entry(what, name, Difference::Removed));
    }
    for (name, now) in &is {
        let of = format!("{what} {name}");
        match find(&was, name) {
            None => changes.push(entry(what, name, Difference::Added)),
            Some(before) => Found { of: &of, changes }.compare("", &before, now),
        }
    }
}

fn entry(what: &str, name: &str, change: Difference) -> Change {
    let of = format!("{what} {name}");
    let words = match (what, change) {
        (_, Difference::Added) => format!("{of} is added"),
        ("stencil", _) => {
            format!("{of} is no longer listed; it stays in the ledger: retire it if it is gone")
        }
        _ => format!("{of} is taken out"),
    };
    Change { of, key: None, change, words }
}

/// Gathers what differs within one thing.
struct Found<'a> {
    of: &'a str,
    changes: &'a mut Vec<Change>,
}

impl Found<'_> {
    fn compare(&mut self, key: &str, was: &Value, is: &Value) {
        match (was, is) {
            _ if was == is => {}
            (Value::Object(before), Value::Object(now)) => {
                let all: std::collections::BTreeSet<&String> =
                    before.keys().chain(now.keys()).collect();
                for below in all {
                    let (before, now) = (before.get(below), now.get(below));
                    let null = &Value::Null;
                    let key = crate::lines::key(key, below);
                    self.compare(&key, before.unwrap_or(null), now.unwrap_or(null));
                }
            }
            (Value::Array(before), Value::Array(now)) if before.len() == now.len() => {
                for (index, (before, now)) in before.iter().zip(now).enumerate() {
                    self.compare(&crate::lines::item(key, index), before, now);
                }
            }
            (Value::Array(before), Value::Array(now)) => {
                for gone in before.iter().filter(|item| !now.contains(item)) {
                    self.tell(
                        key,
                        Difference::Removed,
                        &format!("no longer holds {}", text(Some(gone))),
                    );
                }
                for new in now.iter().filter(|item| !before.contains(item)) {
                    self.tell(
                        key,
                        Difference::Added,
                        &format!("now holds {} as well", text(Some(new))),
                    );
                }
            }
            (Value::Null, is) => {
                self.tell(key, Difference::Added, &format!("is set to {}", text(Some(is))));
            }
            (was, Value::Null) => {
                self.tell(
                    key,
                    Difference::Removed,
                    &format!("is no longer set; it was {}", text(Some(was))),
                );
            }
            (was, is) => {
                let words = format!("is {}; it was {}", text(Some(is)), text(Some(was)));
                self.tell(key, Difference::Changed, &words);
            }
        }
    }

    fn tell(&mut self, key: &str, change: Difference, words: &str) {
        let once = ["strokes-so-far", "clean", "source"];
        let taken_in = self.of.starts_with("stencil ") && once.contains(&key);
        let note = if taken_in { " (taken in once: this changes nothing)" } else { "" };
        self.changes.push(Change {
            of: self.of.to_owned(),
            key: Some(key.to_owned()),
            change,
            words: format!("{}: {key} {words}{note}", self.of),
        });
    }
}

/// A value as people are shown it.
fn text(value: Option<&Value>) -> String {
    let text = match value {
        None => String::new(),
        Some(Value::String(text)) => text.clone(),
        Some(value) => value.to_string(),
    };
    match text.char_indices().nth(LONGEST_SHOWN) {
        None => text,
        Some((end, _)) => format!("{}…", text.get(..end).unwrap_or_default()),
    }
}
