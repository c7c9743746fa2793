//! What is recorded of a machine's messages, and how it is decoded again. Nothing here waits.

use serde::{Deserialize, Serialize};
use stencilward_domain::names::MachineName;
use stencilward_domain::signal::Said;
use stencilward_domain::time::Timestamp;

use super::packets::Arrived;
use super::router::{Reading, Router, mark_again};
use super::settings::Settings;
use crate::link::{Observer, Trouble};
use crate::record::{Again, Bytes, Given, Heard, Raw, Told};

/// A message as the broker sent it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Received {
    /// Its topic.
    pub topic: String,
    /// Its payload.
    pub payload: Bytes,
    /// True when it comes from the broker's store.
    pub retained: bool,
    /// Its quality of service.
    pub qos: u8,
    /// True when the broker says that it may have sent it before.
    pub duplicate: bool,
}

/// Records a message for each machine that has an entry for its topic, and is recorded.
pub(super) fn message(
    observer: &dyn Observer,
    router: &Router,
    arrived: &Arrived,
    readings: &[Reading],
) {
    let Some(tapes) = observer.tapes() else { return };
    for owner in router.owners(&arrived.topic) {
        if let Some(tape) = tapes.get(owner)
            && tape.takes(arrived.payload.len() + arrived.topic.len())
        {
            let message = Received {
                topic: arrived.topic.clone(),
                payload: Bytes::of(&arrived.payload),
                retained: arrived.stored,
                qos: arrived.token.qos,
                duplicate: arrived.again,
            };
            tape.put(Raw::Message(message), given(owner, readings));
        }
    }
}

/// Records for all of the broker's machines that the link is up or lost.
pub(super) fn link(observer: &dyn Observer, said: &Said) {
    for tape in observer.tapes().into_iter().flat_map(|tapes| tapes.values()) {
        tape.link(said);
    }
}

/// What one machine's entries make of a message: where one of them cannot understand it, none
/// gives a signal, unless it was only too old to count.
fn given(owner: &MachineName, readings: &[Reading]) -> Given {
    let mut given = Given::default();
    let mut garbled = false;
    for reading in readings.iter().filter(|reading| reading.machine == *owner) {
        match &reading.signal {
            Ok(signal) => given.signals.push(Heard::of(owner, signal.clone())),
            Err((kind, why)) => {
                garbled |= *kind != Trouble::Stale;
                given.troubles.push(Told::of(*kind, why));
            }
        }
    }
    if garbled {
        given.signals.clear();
    }
    given
}

/// The decoder of a machine of these settings, for what was recorded.
pub(crate) fn again(machine: &MachineName, settings: Settings) -> impl Again + 'static {
    let unheard =
        settings.messages.iter().map(|entry| super::topic::filter(&entry.topic)).collect();
    let router = Router::new(&[(machine.clone(), settings)]);
    Replayed { machine: machine.clone(), router, unheard }
}

struct Replayed {
    machine: MachineName,
    router: Router,
    /// Topics of which no message has come yet.
    unheard: std::collections::BTreeSet<String>,
}

impl Again for Replayed {
    fn begin(&mut self) {}

    fn again(&mut self, at: Timestamp, raw: &Raw) -> Result<Option<Given>, String> {
        match raw {
            Raw::Message(message) => {
                let (topic, payload) = (message.topic.as_str(), message.payload.bytes()?);
                self.unheard.retain(|filter| !super::topic::matches(filter, topic));
                let mut readings = self.router.read(topic, &payload, message.retained, at);
                if message.duplicate {
                    mark_again(&mut readings);
                }
                Ok(Some(given(&self.machine, &readings)))
            }
            Raw::Up(_) | Raw::Lost(_) => Ok(None),
            _ => Err("no machine says this over MQTT".to_owned()),
        }
    }

    fn remembers(&self) -> bool {
        false
    }

    fn unread(&self) -> Vec<String> {
        self.unheard.iter().map(|topic| format!("topic {topic}")).collect()
    }
}
