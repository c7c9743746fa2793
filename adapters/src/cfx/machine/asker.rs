//! The connection on which a simulated machine asks.

use std::collections::VecDeque;
use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use serde_json::Value;
use tokio::sync::{mpsc, watch};
use tokio::time::{MissedTickBehavior, interval, sleep, timeout};

use super::{Manner, Power, request_id};
use crate::cfx::access::STEP;
use crate::cfx::encode::{self, UNIT_CHECK};
use crate::cfx::envelope::Envelope;
use crate::cfx::json::{Garbled, objects, text};
use crate::cfx::requester::Requester;
use crate::cfx::settings::{AtBroker, Endpoint};
use crate::link::Trouble;
use crate::simulated::Answered;

/// Between two questions whether the next panel may come in, and before the next connection.
const PACE: Duration = Duration::from_millis(200);

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
        tied: &mut Option<Requester>,
        waiting: &mut VecDeque<Envelope>,
    ) -> Result<(), Garbled> {
        let tied = match tied {
            Some(tied) => tied,
            None => tied.insert(self.tie().await?),
        };
        if !self.levers.is_empty() {
            let (name, body) = encode::next_panel();
            let question = Envelope::said(&self.me.handle, name, body);
            let question = question.asked_of(&self.gateway, request_id());
            let answer = ask(tied, &question).await?;
            let result = answer.get("PrimaryResult").and_then(|result| result.get("Result"));
            // Whatever is not plainly a yes is a no.
            let passed = result.and_then(Value::as_str) == Some("Passed")
                && answer.name == UNIT_CHECK.replace("Request", "Response");
            self.pull(passed);
        }
        while let Some(question) = waiting.front() {
            let answer = ask(tied, question).await?;
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

    async fn tie(&self) -> Result<Requester, Garbled> {
        Requester::tie(&self.at.whereto(), &self.me, &self.gateway).await
    }
}

/// Asks, and waits for the answer.
async fn ask(tied: &mut Requester, question: &Envelope) -> Result<Envelope, Garbled> {
    tied.send(question).await?;
    let answered = async {
        loop {
            let mut answers = tied.answers().await?.into_iter();
            if let Some(answer) = answers.find(|answer| answer.request_id == question.request_id) {
                return Ok(answer);
            }
        }
    };
    let late = || (Trouble::TimedOut, "no answer".to_owned());
    timeout(STEP, answered).await.map_err(|_| late())?
}
