//! The MQTT part of the configuration: brokers, and what a machine's messages mean.

mod broker;
mod message;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_domain::names::OutputName;

use super::topic;
use crate::settings::{Drive, Tally};

pub use broker::{Broker, Tls, Version};
pub use message::{Measures, Message, Signal};

/// What the gateway tells everybody who listens at a broker.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Publish {
    /// The topic under which it tells: `UNDER/gateway`, `UNDER/stencils/CODE`,
    /// `UNDER/machines/NAME`, `UNDER/decisions/RULE/CODE`.
    pub under: String,
}

/// What a machine says over MQTT, and what the gateway publishes for it.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Settings {
    /// The broker, by its name.
    pub broker: String,
    /// Its messages, and the signal each gives. Several entries may share a topic.
    #[serde(default)]
    pub messages: Vec<Message>,
    /// What the gateway publishes for it.
    #[serde(default)]
    pub outputs: Vec<Output>,
}

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
    /// The topic on which the machine tells its real state, with the same two words.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub read_back: Option<String>,
    /// Pointer to that word in the read-back's payload; without it, the whole payload.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub value: Option<String>,
    /// Whether the broker keeps the last value for a machine that comes later: true unless set.
    #[serde(default = "yes")]
    pub retain: bool,
}

fn yes() -> bool {
    true
}

impl Settings {
    /// All topics that are listened to for it.
    pub(super) fn topics(&self) -> impl Iterator<Item = String> {
        let told = self.outputs.iter().filter_map(|output| output.read_back.clone());
        self.messages.iter().map(|message| topic::filter(&message.topic)).chain(told)
    }

    /// The outputs by name, with what each follows.
    #[must_use]
    pub fn outputs(&self) -> Vec<(OutputName, Drive)> {
        let named = |output: &Output| Some((OutputName::new(&output.name).ok()?, output.drive));
        self.outputs.iter().filter_map(named).collect()
    }

    /// True when the machine says by itself which stencil is in it.
    #[must_use]
    pub fn names_stencil(&self) -> bool {
        self.gives(Signal::StencilSeated)
    }

    /// What it tells of its own strokes, wipes and orders, or of those it counts.
    #[must_use]
    pub fn tally(&self) -> Tally {
        tally(self.messages.iter().filter(|message| message.machine.is_none()))
    }

    /// What it tells of machines that its messages name.
    #[must_use]
    pub fn tally_of_others(&self) -> Tally {
        tally(self.messages.iter().filter(|message| message.machine.is_some()))
    }

    /// True when its own birth and death messages say whether it is there.
    #[must_use]
    pub fn tells_its_link(&self) -> bool {
        self.gives(Signal::Link)
    }

    fn gives(&self, signal: Signal) -> bool {
        self.messages.iter().any(|message| message.signal == signal && message.machine.is_none())
    }
}

fn tally<'m>(messages: impl Iterator<Item = &'m Message>) -> Tally {
    let mut tally = Tally::default();
    for message in messages {
        match message.signal {
            Signal::StrokeTotal | Signal::WipeTotal => tally.counters.extend(message.counter()),
            Signal::StrokesDone => tally.strokes = true,
            Signal::WipesDone => tally.wipes = true,
            Signal::OrderStarted | Signal::OrderFinished | Signal::BoardsCounted => {
                tally.orders = true;
            }
            _ => {}
        }
    }
    tally
}
