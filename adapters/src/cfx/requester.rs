//! Questions to another endpoint, at its own listener.
//!
//! Source: the SDK's `CFX/Transport/AmqpCFXEndpoint.cs` (`ExecuteRequestAsync`): first a link that
//! receives, from the other's handle to a private name, then one that sends to the other's handle,
//! and each question with that name as `reply-to`. An answer is known by the envelope's
//! `RequestID`: in the SDK the message id of every question is the same.

use fe2o3_amqp::types::messaging::{Body, Outcome, Source, Target};
use fe2o3_amqp::types::primitives::Value;
use fe2o3_amqp::{Receiver, Sender};
use tokio::time::timeout;

use super::access::{Open, STEP, Whereto, open, within};
use super::envelope::{Envelope, envelopes};
use super::json::Garbled;
use super::message::message;
use super::settings::Endpoint;
use crate::link::Trouble;

/// Largest answer read, in bytes.
const LARGEST: usize = 1 << 20;

/// A connection on which questions are asked.
pub(super) struct Requester {
    open: Open,
    sender: Sender,
    receiver: Receiver,
    reply_to: String,
}

impl Requester {
    /// Connects as `me`, to ask what takes requests at the address `target` there.
    pub(super) async fn tie(
        to: &Whereto<'_>,
        me: &Endpoint,
        target: &str,
    ) -> Result<Self, Garbled> {
        let mut open = open(to, me).await?;
        let reply_to = format!("{}-{}", me.handle, super::unique_id());
        let failed = |error: String| {
            let why = format!(
                "no link to {target:?} ({error}): see that this is the address where requests are \
                 taken there, usually the handle of who listens"
            );
            (Trouble::Refused, why)
        };
        let attaching = Receiver::builder()
            .name(format!("{reply_to}-answers"))
            .source(Source::builder().address(target).build())
            .target(Target::builder().address(reply_to.as_str()).build())
            .attach(&mut open.session);
        let receiver = within("to a link for answers", attaching).await?;
        let receiver = receiver.map_err(|error| failed(error.to_string()))?;
        let name = format!("{reply_to}-questions");
        let attaching = Sender::attach(&mut open.session, name, target);
        let sender = within("to a link for questions", attaching).await?;
        let sender = sender.map_err(|error| failed(error.to_string()))?;
        Ok(Self { open, sender, receiver, reply_to })
    }

    /// Sends a question, and waits until the other side has it.
    pub(super) async fn send(&mut self, question: &Envelope) -> Result<(), Garbled> {
        let mut asked = message(question);
        if let Some(properties) = &mut asked.properties {
            properties.reply_to = Some(self.reply_to.clone());
        }
        let sent = timeout(STEP, self.sender.send(asked)).await.map_err(|_| {
            let why = format!("a request was not taken within {} s", STEP.as_secs());
            (Trouble::TimedOut, why)
        })?;
        match sent.map_err(|error| (Trouble::Broken, error.to_string()))? {
            Outcome::Accepted(_) => Ok(()),
            outcome => {
                let why = format!(
                    "a request was not taken ({outcome:?}): see whether the other side knows the \
                     link for answers; both links are made anew"
                );
                Err((Trouble::Refused, why.chars().take(300).collect()))
            }
        }
    }

    /// The next answers. Waiting for them may be given up.
    pub(super) async fn answers(&mut self) -> Result<Vec<Envelope>, Garbled> {
        let broken = |error: String| {
            let why = format!("the connection broke ({error}): see that the other side runs");
            (Trouble::Broken, why)
        };
        let received = self.receiver.recv::<Body<Value>>().await;
        let delivery = received.map_err(|error| broken(error.to_string()))?;
        // An answer comes settled in the SDK; of one that does not, nothing hangs on its outcome.
        let _ = self.receiver.accept(&delivery).await;
        let Ok(data) = delivery.body().try_as_data() else { return Ok(Vec::new()) };
        let body: Vec<u8> = data.flat_map(|section| section.iter().copied()).collect();
        envelopes(&body, LARGEST)
    }

    /// Takes leave.
    pub(super) async fn leave(self) {
        let Self { open, sender, receiver, .. } = self;
        drop((sender, receiver));
        open.leave().await;
    }
}
