//! The other side: a machine that speaks MQTT the way its settings say.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};

use async_trait::async_trait;
use serde_json::Value;
use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::signal::Said;
use tokio::sync::{Mutex, mpsc, watch};
use tokio_util::sync::CancellationToken;

use super::access::{Access, Memory};
use super::encode;
use super::outbox::{Keeping, Outbox, Woe};
use super::packets::{Arrived, Post};
use super::settings::{Broker, Message, Output, Settings, Signal};
use crate::settings::Drive;
use crate::simulated::{Answered, CannotSay, Simulated};

/// Messages and answers that wait to be looked at.
const WAITING: usize = 1_024;

/// A simulated machine on MQTT. Its messages are kept until the broker has them, also across a
/// broker that goes away. It ends when dropped.
pub struct Machine {
    settings: Settings,
    outbox: Outbox,
    outputs: BTreeMap<OutputName, watch::Receiver<bool>>,
    answers: Mutex<mpsc::Receiver<Answered>>,
    disobeys: Arc<AtomicBool>,
    stop: CancellationToken,
}

impl Machine {
    /// A machine of this name at the broker there.
    #[must_use]
    pub fn start(broker: SocketAddr, name: &MachineName, settings: Settings) -> Self {
        Self::at(Broker::plain(broker), name, settings)
    }

    /// A machine of this name at a broker that is reached the way the gateway reaches it.
    #[must_use]
    pub fn at(broker: Broker, name: &MachineName, settings: Settings) -> Self {
        let stop = CancellationToken::new();
        let (arrive, arrivals) = mpsc::channel(WAITING);
        let answers_on = answer_topics(&settings);
        let told = settings.outputs.iter().map(|output| output.topic.clone());
        let (outbox, _) = Outbox::start(Keeping {
            access: Access::new(broker),
            client: format!("simulated-{name}"),
            memory: Memory::Kept,
            subscriptions: told.chain(answers_on.iter().cloned()).collect(),
            arrivals: Some(arrive),
            stop: stop.clone(),
            on_trouble: Box::new(|woe| match woe {
                Woe::Lost(lost) => tracing::debug!(?lost, "a simulated machine lost its broker"),
                Woe::Unwanted(topic, why) => tracing::debug!(topic, why, "it is not taken"),
            }),
        });
        let mut outputs = BTreeMap::new();
        let mut levers = Vec::new();
        for output in settings.outputs.iter().filter(|output| output.drive != Drive::Heartbeat) {
            if let Ok(name) = OutputName::new(&output.name) {
                let (lever, shown) = watch::channel(false);
                outputs.insert(name, shown);
                levers.push((output.clone(), lever));
            }
        }
        let (answer, answers) = mpsc::channel(WAITING);
        let disobeys = Arc::new(AtomicBool::new(false));
        let ears =
            Ears { answers_on, answer, levers, outbox: outbox.clone(), disobeys: disobeys.clone() };
        tokio::spawn(ears.listen(arrivals));
        Self { settings, outbox, outputs, answers: Mutex::new(answers), disobeys, stop }
    }

    /// From now on it ignores, or follows again, what its outputs are told.
    pub fn disobey(&self, disobeys: bool) {
        self.disobeys.store(disobeys, Ordering::SeqCst);
    }

    fn entry(&self, said: &Said) -> Result<&Message, CannotSay> {
        let messages = &self.settings.messages;
        let empty_seat =
            |entry: &&Message| *said == Said::Removed && entry.signal == Signal::StencilSeated;
        messages
            .iter()
            .find(|entry| encode::says(entry, said))
            .or_else(|| messages.iter().find(empty_seat))
            .ok_or(CannotSay::NotMapped(said.kind()))
    }
}

impl Drop for Machine {
    fn drop(&mut self) {
        self.stop.cancel();
    }
}

#[async_trait]
impl Simulated for Machine {
    async fn say(&self, said: &Said, identity: Option<&str>) -> Result<(), CannotSay> {
        let entry = self.entry(said)?;
        let (topic, payload) = encode::message(entry, said, identity);
        let post = Post { topic, payload, retain: false };
        if self.outbox.publish(post).await {
            Ok(())
        } else {
            Err(CannotSay::NoConnection("it was switched off".to_owned()))
        }
    }

    fn output(&self, name: &OutputName) -> Result<watch::Receiver<bool>, CannotSay> {
        self.outputs.get(name).cloned().ok_or(CannotSay::NotMapped("output"))
    }

    async fn answered(&self) -> Option<Answered> {
        if answer_topics(&self.settings).is_empty() {
            return None;
        }
        self.answers.lock().await.recv().await
    }
}

fn answer_topics(settings: &Settings) -> Vec<String> {
    let mut topics: Vec<String> =
        settings.messages.iter().filter_map(|entry| entry.answer.clone()).collect();
    topics.sort();
    topics.dedup();
    topics
}

/// Hears what the gateway publishes for the machine.
struct Ears {
    answers_on: Vec<String>,
    answer: mpsc::Sender<Answered>,
    levers: Vec<(Output, watch::Sender<bool>)>,
    outbox: Outbox,
    disobeys: Arc<AtomicBool>,
}

impl Ears {
    async fn listen(self, mut arrivals: mpsc::Receiver<Arrived>) {
        while let Some(publish) = arrivals.recv().await {
            if self.answers_on.contains(&publish.topic) {
                if let Some(answer) = read_answer(&publish.payload)
                    && self.answer.try_send(answer).is_err()
                {
                    tracing::debug!("nobody waits for the answers of a simulated machine");
                }
            } else if !self.disobeys.load(Ordering::SeqCst) {
                self.pull_levers(&publish).await;
            }
        }
    }

    async fn pull_levers(&self, publish: &Arrived) {
        let word = String::from_utf8_lossy(&publish.payload).into_owned();
        for (output, lever) in
            self.levers.iter().filter(|(output, _)| output.topic == publish.topic)
        {
            lever.send_replace(output.permit.as_deref() == Some(word.as_str()));
            if let Some(topic) = &output.read_back {
                let payload = match &output.value {
                    None => word.clone().into_bytes(),
                    Some(pointer) => encode::pointed(pointer, &word),
                };
                let post = Post { topic: topic.clone(), payload, retain: true };
                self.outbox.hand_over(post).await;
            }
        }
    }
}

fn read_answer(payload: &[u8]) -> Option<Answered> {
    let json: Value = serde_json::from_slice(payload).ok()?;
    let reasons = json.get("reasons")?.as_array()?;
    Some(Answered {
        request: json.get("request").and_then(Value::as_str).map(str::to_owned),
        permitted: json.get("permitted")?.as_bool()?,
        reasons: reasons
            .iter()
            .filter_map(|reason| reason.get("code")?.as_str().map(str::to_owned))
            .collect(),
    })
}
