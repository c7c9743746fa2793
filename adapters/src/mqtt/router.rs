//! Which settings a message belongs to.

use std::collections::{BTreeSet, HashMap};

use stencilward_domain::names::MachineName;
use stencilward_domain::signal::{Reading as HowRead, Said, Signal as Heard};
use stencilward_domain::time::Timestamp;

use super::payload::{Garbled, Text};
use super::settings::{Message, Settings};
use super::topic;

/// What one entry of the settings makes of a message.
#[derive(Debug, Clone, PartialEq)]
pub struct Reading {
    /// The machine whose settings it is.
    pub machine: MachineName,
    /// The signal, or why there is none.
    pub signal: Result<Heard, Garbled>,
    /// Where the answer goes, when the signal asks.
    pub answer: Option<String>,
}

#[derive(Debug)]
struct Entry {
    machine: MachineName,
    message: Message,
    filter: String,
}

/// Finds the settings that a topic belongs to.
#[derive(Debug, Default)]
pub struct Router {
    entries: Vec<Entry>,
    exact: HashMap<String, Vec<usize>>,
    wild: Vec<usize>,
}

impl Router {
    /// A router over the messages of these machines.
    #[must_use]
    pub fn new(machines: &[(MachineName, Settings)]) -> Self {
        let mut router = Self::default();
        for (machine, settings) in machines {
            for message in &settings.messages {
                let index = router.entries.len();
                let filter = topic::filter(&message.topic);
                if topic::is_wild(&filter) {
                    router.wild.push(index);
                } else {
                    router.exact.entry(filter.clone()).or_default().push(index);
                }
                router.entries.push(Entry {
                    machine: machine.clone(),
                    message: message.clone(),
                    filter,
                });
            }
        }
        router
    }

    /// What the settings make of a message. Empty when no entry has its topic, or each has a
    /// `when` that does not hold.
    #[must_use]
    pub fn read(&self, name: &str, payload: &[u8], stored: bool, at: Timestamp) -> Vec<Reading> {
        let exact = self.exact.get(name).map(Vec::as_slice).unwrap_or_default();
        let wild = self.wild.iter().filter(|index| {
            self.entries.get(**index).is_some_and(|entry| topic::matches(&entry.filter, name))
        });
        let mut text = Text::new(payload);
        let mut readings = Vec::new();
        for entry in exact.iter().chain(wild).filter_map(|i| self.entries.get(*i)) {
            let message = &entry.message;
            text.name_levels(topic::levels(&message.topic, name));
            let number = message.number(&entry.machine, name, &mut text, stored, at);
            let signal = message.read(&entry.machine, &mut text, stored, at);
            for (signal, answer) in number
                .map(|number| (number, None))
                .into_iter()
                .chain(signal.map(|signal| (signal, message.answer.clone())))
            {
                readings.push(Reading { machine: entry.machine.clone(), signal, answer });
            }
        }
        readings
    }

    /// The machines of which some entry has this topic.
    pub(super) fn owners(&self, name: &str) -> BTreeSet<&MachineName> {
        let has = |entry: &&Entry| topic::matches(&entry.filter, name);
        self.entries.iter().filter(has).map(|entry| &entry.machine).collect()
    }

    /// True when some entry has this topic.
    #[must_use]
    pub fn knows(&self, name: &str) -> bool {
        self.exact.contains_key(name)
            || self
                .wild
                .iter()
                .filter_map(|i| self.entries.get(*i))
                .any(|entry| topic::matches(&entry.filter, name))
    }
}

/// Marks the totals of a message that the broker says it may have sent before (MQTT 3.1.1,
/// 3.3.1.1): after a crash those since passed come again.
pub(super) fn mark_again(readings: &mut [Reading]) {
    for reading in readings {
        if let Ok(Heard { said: Said::CounterRead { reading, .. }, .. }) = &mut reading.signal {
            *reading = HowRead::ReportedAgain;
        }
    }
}
