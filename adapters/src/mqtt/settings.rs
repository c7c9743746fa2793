//! The MQTT part of the configuration: brokers, and what a machine's messages mean.

mod broker;
mod message;
mod output;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_domain::names::OutputName;

use super::topic;
use crate::settings::{Drive, Tally};

pub use broker::{Broker, Tls, Version};
pub use message::{Measures, Message, Signal};
pub use output::{Answer, Output, Shows};

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

impl Settings {
    /// All topics that are listened to for it.
    pub(super) fn topics(&self) -> impl Iterator<Item = String> {
        let told = self.outputs.iter().flat_map(|output| {
            let answer = output.answer.as_ref().map(|answer| answer.topic.clone());
            output.read_back.clone().into_iter().chain(answer)
        });
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
