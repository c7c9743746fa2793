//! Acknowledging: each message in the order of arrival, once it is durable and answered.

use std::time::Duration;

use stencilward_domain::decision::Decision;
use stencilward_domain::names::MachineName;
use tokio::sync::mpsc;
use tokio::time::timeout;
use tokio_util::sync::CancellationToken;

use super::consume::Consumer;
use super::encode;
use super::packets::{Post, Token};
use super::session::Order;
use crate::link::{Receipt, Trouble};

/// An answer that the broker has not taken after so long is told of as trouble.
const ANSWERING: Duration = Duration::from_secs(5);

/// Messages that were dealt with together.
pub(super) struct Done {
    pub(super) tokens: Vec<Token>,
    /// None when nothing of them was handed in.
    pub(super) receipt: Option<Receipt>,
    pub(super) answers: Vec<Asked>,
}

/// A question that the last of them held.
pub(super) struct Asked {
    pub(super) machine: MachineName,
    /// Where the answer goes; empty when none is wanted.
    pub(super) topic: String,
    pub(super) request: Option<String>,
}

impl Consumer {
    /// Waits for each delivery in turn, answers, acknowledges. What is not durable when the
    /// gateway ends is not acknowledged, nor is anything after it. After a cut there is nothing
    /// to wait for: all of it comes again, questions too.
    pub(super) async fn acknowledge(
        &self,
        mut finished: mpsc::Receiver<Done>,
        orders: &mpsc::Sender<Order>,
        cut: &CancellationToken,
    ) {
        while let Some(done) = finished.recv().await {
            let settled = tokio::select! {
                biased;
                settled = self.settle(done.receipt, &done.answers) => settled,
                () = cut.cancelled() => continue,
            };
            if !settled {
                return;
            }
            if orders.send(Order::Acknowledge(done.tokens)).await.is_err() {
                tracing::debug!("a connection ended before its acknowledgements: all comes again");
            }
        }
    }

    /// False when the gateway ended before the delivery was durable.
    async fn settle(&self, receipt: Option<Receipt>, answers: &[Asked]) -> bool {
        let Some(receipt) = receipt else {
            return true;
        };
        let Ok(decisions) = receipt.durable().await else {
            return false;
        };
        self.answer(answers, &decisions).await;
        true
    }

    /// Returns once the broker has the answers, or will not have them: acknowledged before, a
    /// question would not come again after a crash, and its answer would be lost.
    async fn answer(&self, asked: &[Asked], decisions: &[Decision]) {
        for (asked, decision) in asked.iter().zip(decisions) {
            if asked.topic.is_empty() {
                continue;
            }
            let payload = encode::answer(asked.request.as_deref(), decision);
            let post = Post { topic: asked.topic.clone(), payload, retain: false, reply: None };
            let publishing = self.outbox.publish(post);
            tokio::pin!(publishing);
            if timeout(ANSWERING, &mut publishing).await.is_err() {
                let why = format!(
                    "the broker has not taken an answer on {} yet: see that it lets {} in; until \
                     then nothing that comes after the question is acknowledged",
                    asked.topic,
                    self.access.client("out")
                );
                self.floor.observer.trouble(&asked.machine, Trouble::TimedOut, &why);
                publishing.await;
            }
        }
    }
}
