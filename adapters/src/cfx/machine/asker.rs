//! The connection on which a simulated machine asks, as the SDK does: the link for answers first.

use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use fe2o3_amqp::types::messaging::{Body, Source, Target};
use fe2o3_amqp::types::primitives::Value as AmqpValue;
use fe2o3_amqp::{Receiver, Sender};
use serde_json::Value;
use tokio::sync::{mpsc, watch};
use tokio::time::{MissedTickBehavior, interval, sleep, timeout};

use super::{Manner, Power, envelope};
use crate::cfx::access::{Open, STEP, open, within};
use crate::cfx::encode::{self, UNIT_CHECK};
use crate::cfx::envelope::{Envelope, envelopes};
use crate::cfx::json::{Garbled, objects, text};
use crate::cfx::message::message;
use crate::cfx::settings::{AtBroker, Endpoint};
use crate::link::Trouble;
use crate::simulated::Answered;

/// Between two questions whether the next panel may come in, and before the next connection.
const PACE: Duration = Duration::from_millis(200);
/// Largest answer read, in bytes.
const LARGEST: usize = 1 << 20;

/// Something that the machine asks.
pub(super) struct Question(pub(super) Envelope);

pub(super) struct Asker {
    pub(super) at: AtBroker,
    pub(super) me: Endpoint,
    pub(super) gateway: String,
    pub(super) questions: mpsc::Receiver<Question>,
    pub(super) answer: mpsc::Sender<Answered>,
    pub(super) levers: Vec<watch::Sender<bool>>,
    pub(super) power: watch::Receiver<Power>,
    pub(super) manner: Arc<Manner>,
}

struct Tied {
    _open: Open,
    sender: Sender,
    receiver: Receiver,
    reply_to: String,
}

impl Asker {
    pub(super) async fn run(mut self) {
        let mut waiting: VecDeque<Envelope> = VecDeque::new();
        let mut pace = interval(PACE);
        pace.set_missed_tick_behavior(MissedTickBehavior::Delay);
        let mut tied = None;
        loop {
            tokio::select! {
                question = self.questions.recv() => match question {
                    Some(Question(envelope)) => waiting.push_back(envelope),
                    None => return,
                },
                _ = pace.tick(), if !self.levers.is_empty() || !waiting.is_empty() => {}
            }
            let power = *self.power.borrow_and_update();
            if !power.on {
                tied = None;
                self.pull(false);
                continue;
            }
            if self.work(&mut tied, &mut waiting).await.is_err() {
                // A machine that hears no answer lets no panel in.
                tied = None;
                self.pull(false);
                sleep(PACE).await;
            }
        }
    }

    async fn work(
        &self,
        tied: &mut Option<Tied>,
        waiting: &mut VecDeque<Envelope>,
    ) -> Result<(), Garbled> {
        let tied = match tied {
            Some(tied) => tied,
            None => tied.insert(self.tie().await?),
        };
        if !self.levers.is_empty() {
            let (name, body) = encode::next_panel();
            let question = envelope(&self.me.handle, Some(&self.gateway), name, body, None);
            let answer = tied.ask(&question).await?;
            let result = answer.get("PrimaryResult").and_then(|result| result.get("Result"));
            // Whatever is not plainly a yes is a no.
            let passed = result.and_then(Value::as_str) == Some("Passed")
                && answer.name == UNIT_CHECK.replace("Request", "Response");
            self.pull(passed);
        }
        while let Some(question) = waiting.front() {
            let answer = tied.ask(question).await?;
            let results: Vec<_> = objects(&answer.body, "Result").collect();
            let permitted = !results.is_empty()
                && results.iter().all(|result| text(result, "Result") == Some("Success"));
            let reasons = results.iter().filter_map(|result| text(result, "Message"));
            let answered = Answered {
                request: question.request_id.clone(),
                permitted,
                reasons: reasons.map(str::to_owned).collect(),
            };
            waiting.pop_front();
            if self.answer.try_send(answered).is_err() {
                tracing::debug!("nobody waits for the answers of a simulated machine");
            }
        }
        Ok(())
    }

    fn pull(&self, permits: bool) {
        if !self.manner.disobeys.load(Ordering::SeqCst) {
            for lever in &self.levers {
                lever.send_replace(permits);
            }
        }
    }

    async fn tie(&self) -> Result<Tied, Garbled> {
        let mut open = open(&self.at, &self.me).await?;
        let reply_to = format!("{}-{}", self.me.handle, crate::cfx::unique_id());
        let failed = |error: String| (Trouble::Refused, format!("no link to the gateway: {error}"));
        let attaching = Receiver::builder()
            .name(format!("{reply_to}-answers"))
            .source(Source::builder().address(self.gateway.as_str()).build())
            .target(Target::builder().address(reply_to.as_str()).build())
            .attach(&mut open.session);
        let receiver = within("to a link", attaching).await?;
        let receiver = receiver.map_err(|error| failed(error.to_string()))?;
        let name = format!("{reply_to}-questions");
        let attaching = Sender::attach(&mut open.session, name, self.gateway.as_str());
        let sender = within("to a link", attaching).await?;
        let sender = sender.map_err(|error| failed(error.to_string()))?;
        Ok(Tied { _open: open, sender, receiver, reply_to })
    }
}

impl Tied {
    /// Asks, and waits for the answer: known by the envelope's request id, since the message id of
    /// every question is the same in the SDK.
    async fn ask(&mut self, question: &Envelope) -> Result<Envelope, Garbled> {
        let mut asked = message(question);
        if let Some(properties) = &mut asked.properties {
            properties.reply_to = Some(self.reply_to.clone());
            properties.message_id = Some("command-request".to_owned().into());
        }
        let late = || (Trouble::TimedOut, "no answer".to_owned());
        let sent = timeout(STEP, self.sender.send(asked)).await.map_err(|_| late())?;
        sent.map_err(|error| (Trouble::Broken, error.to_string()))?;
        loop {
            let receiving = self.receiver.recv::<Body<AmqpValue>>();
            let received = timeout(STEP, receiving).await.map_err(|_| late())?;
            let delivery = received.map_err(|error| (Trouble::Broken, error.to_string()))?;
            let Ok(data) = delivery.body().try_as_data() else { continue };
            let body: Vec<u8> = data.flat_map(|section| section.iter().copied()).collect();
            let answers = envelopes(&body, LARGEST)?;
            let _ = self.receiver.accept(&delivery).await;
            let mut answers = answers.into_iter();
            if let Some(answer) = answers.find(|answer| answer.request_id == question.request_id) {
                return Ok(answer);
            }
        }
    }
}
