//! One AMQP link on which machines send: messages are accepted once what follows from them is
//! durable, and rejected when they can never be understood. Credit is what slows a sender down:
//! none is granted while as many messages wait to be accepted.
//!
//! Messages that have come already are heard and accepted together. What is under way when the
//! gateway stops is left unsettled, so that the broker or the machine sends it again.

use std::sync::Arc;

use fe2o3_amqp::Receiver;
use fe2o3_amqp::link::delivery::{Delivery, DeliveryInfo};
use fe2o3_amqp::link::receiver::CreditMode;
use fe2o3_amqp::link::{LinkStateError, RecvError};
use fe2o3_amqp::types::definitions::{self, AmqpError, LinkError};
use fe2o3_amqp::types::messaging::{Body, Properties};
use fe2o3_amqp::types::primitives::Value;
use futures::future::{BoxFuture, FutureExt as _};
use futures::stream::{FuturesOrdered, StreamExt as _};

use super::access::FAREWELL;
use super::desk::{Desk, Over};
use super::envelope::{Envelope, envelopes};
use super::hearing::Way;
use super::json::Garbled;
use super::kinds::Kind;
use super::replies::{Replies, Unanswered};
use crate::link::{Receipt, Trouble};

/// Messages that a sender may have under way.
pub(super) const CREDIT: u32 = 500;
/// Messages that are heard together.
const TOGETHER: usize = 64;

/// Why a link is heard no more.
#[derive(Debug)]
pub(super) enum Ended {
    /// The order to stop, or nobody takes signals any more.
    Over,
    /// The other side took leave of the link.
    Left,
    /// It broke, or was ended for what it sent.
    Lost(Garbled),
}

impl From<Over> for Ended {
    fn from(Over: Over) -> Self {
        Self::Over
    }
}

/// Hears a link until it ends.
pub(super) async fn take(
    mut receiver: Receiver,
    desk: &Arc<Desk>,
    way: Way,
    replies: Option<&Replies>,
) -> Ended {
    receiver.set_credit_mode(CreditMode::Manual);
    let mut taker = Taker { receiver, desk, way, replies, waiting: Waiting::new(), under_way: 0 };
    let ended = taker.hear().await;
    if matches!(ended, Ended::Over) {
        // What is durable by then is accepted; the rest comes again.
        let _ = tokio::time::timeout(FAREWELL, taker.settle_all()).await;
    }
    ended
}

/// Messages that are accepted together, once what follows from them is durable.
type Waiting = FuturesOrdered<BoxFuture<'static, Result<Vec<DeliveryInfo>, Over>>>;

struct Taker<'a> {
    receiver: Receiver,
    desk: &'a Arc<Desk>,
    way: Way,
    replies: Option<&'a Replies>,
    waiting: Waiting,
    /// Messages in `waiting`.
    under_way: usize,
}

/// Messages that came together.
#[derive(Default)]
struct Lot {
    messages: Vec<DeliveryInfo>,
    told: Vec<Envelope>,
    /// What the last message asks, and how it wants to be answered.
    asked: Option<(Envelope, Option<Properties>)>,
}

impl Taker<'_> {
    async fn hear(&mut self) -> Ended {
        loop {
            if let Err(ended) = self.turn().await {
                return ended;
            }
        }
    }

    /// Takes in what came, or accepts what became durable.
    async fn turn(&mut self) -> Result<(), Ended> {
        // Only once all that was granted has come: RabbitMQ 3.10 forgets what is under way inside
        // it, and sends more than it may when more is granted before.
        if self.receiver.credit() == 0 && self.under_way < CREDIT as usize {
            let granted = self.receiver.set_credit(CREDIT).await;
            granted.map_err(|error| self.lost(RecvError::LinkStateError(error.into())))?;
        }
        tokio::select! {
            biased;
            () = self.desk.floor.stop.cancelled() => Err(Ended::Over),
            durable = self.waiting.next(), if !self.waiting.is_empty() => match durable {
                Some(lot) => self.settle(lot?).await,
                None => Ok(()),
            },
            first = self.receiver.recv() => {
                let mut lot = Lot::default();
                let gathered = self.gather(first, &mut lot).await;
                self.take_in(lot).await?;
                gathered
            }
        }
    }

    /// The first message, and those after it that are here already; a question is the last.
    async fn gather(&mut self, first: Received, lot: &mut Lot) -> Result<(), Ended> {
        let mut next = Some(first);
        while let Some(received) = next {
            match received {
                Ok(delivery) => self.add(delivery, lot).await?,
                Err(RecvError::MessageDecode(error)) => {
                    let why = format!("a message that does not follow AMQP 1.0 ({})", error.source);
                    self.reject(error.info, (Trouble::Garbled, why)).await?;
                }
                Err(error) => return Err(self.lost(error)),
            }
            let full = lot.messages.len() >= TOGETHER || lot.asked.is_some();
            next = if full { None } else { self.receiver.recv().now_or_never() };
        }
        Ok(())
    }

    async fn add(&mut self, delivery: Delivery<Body<Value>>, lot: &mut Lot) -> Result<(), Ended> {
        let (info, message) = delivery.into_parts();
        let read = bytes(message.body)
            .and_then(|body| self.bounded(body))
            .and_then(|body| envelopes(&body, self.desk.endpoint.largest_text));
        let envelopes = match read {
            Ok(envelopes) => envelopes,
            Err(garbled) => return self.reject(info, garbled).await,
        };
        let asks = |envelope: &Envelope| envelope.kind() == Some(Kind::Request);
        let (asked, told): (Vec<_>, Vec<_>) = envelopes.into_iter().partition(asks);
        lot.messages.push(info);
        lot.told.extend(told);
        lot.asked = asked.into_iter().next().map(|asked| (asked, message.properties));
        Ok(())
    }

    /// What was told goes to the gateway, what was asked is answered.
    async fn take_in(&mut self, mut lot: Lot) -> Result<(), Ended> {
        let receipt = self.desk.hear(&lot.told, self.way).await?;
        // A question to everybody through the broker has no answer: who wants ours asks us.
        if let (Some(replies), Some((question, properties))) = (self.replies, &lot.asked) {
            match replies.answer(self.desk, question, properties.as_ref()).await {
                Ok(()) => {}
                Err(Unanswered::Over) => return Err(Ended::Over),
                Err(Unanswered::For(garbled)) => {
                    if let Some(info) = lot.messages.pop() {
                        self.reject(info, garbled).await?;
                    }
                }
            }
        }
        if !lot.messages.is_empty() {
            self.under_way += lot.messages.len();
            self.waiting.push_back(durable(lot.messages, receipt).boxed());
        }
        Ok(())
    }

    async fn settle(&mut self, lot: Vec<DeliveryInfo>) -> Result<(), Ended> {
        self.under_way -= lot.len();
        let accepted = self.receiver.accept_all(lot).await;
        accepted.map_err(|error| {
            let why = format!("a message could not be accepted, and will come again ({error})");
            Ended::Lost((Trouble::Broken, why))
        })
    }

    async fn settle_all(&mut self) {
        while let Some(Ok(lot)) = self.waiting.next().await
            && self.settle(lot).await.is_ok()
        {}
    }

    /// It could never be understood: kept, it would come again for ever.
    async fn reject(&mut self, info: DeliveryInfo, (kind, why): Garbled) -> Result<(), Ended> {
        let error = definitions::Error::new(AmqpError::DecodeError, why.clone(), None);
        self.desk.trouble(kind, format!("a message was rejected: {why}")).await;
        let rejected = self.receiver.reject(info, error).await;
        rejected.map_err(|error| Ended::Lost((Trouble::Broken, error.to_string())))
    }

    fn bounded(&self, body: Vec<u8>) -> Result<Vec<u8>, Garbled> {
        let largest = self.desk.endpoint.largest_message;
        if body.len() <= largest {
            return Ok(body);
        }
        Err((Trouble::TooLarge, too_large(body.len() as u64, largest)))
    }

    fn lost(&self, error: RecvError) -> Ended {
        lost(error, self.desk.endpoint.largest_message)
    }
}

type Received = Result<Delivery<Body<Value>>, RecvError>;

async fn durable(
    messages: Vec<DeliveryInfo>,
    receipt: Option<Receipt>,
) -> Result<Vec<DeliveryInfo>, Over> {
    if let Some(receipt) = receipt {
        receipt.durable().await.map_err(|_| Over)?;
    }
    Ok(messages)
}

/// The bytes of a body: in data sections, or since version 1.2 no longer in a value.
fn bytes(body: Body<Value>) -> Result<Vec<u8>, Garbled> {
    let one = match body {
        Body::Data(data) => {
            let mut sections = data.into_iter().map(|section| section.0.into_vec());
            let first = sections.next().unwrap_or_default();
            return Ok(sections.fold(first, |mut all, section| {
                all.extend(section);
                all
            }));
        }
        Body::Value(value) => value.0,
        Body::Sequence(_) | Body::Empty => Value::Null,
    };
    match one {
        Value::Binary(bytes) => Ok(bytes.into_vec()),
        Value::String(text) => Ok(text.into_bytes()),
        _ => {
            let why = "its body holds no bytes: CFX has JSON there, in a data section";
            Err((Trouble::Unreadable, why.to_owned()))
        }
    }
}

fn lost(error: RecvError, largest: usize) -> Ended {
    match error {
        RecvError::LinkStateError(
            LinkStateError::RemoteClosed | LinkStateError::RemoteDetached,
        ) => Ended::Left,
        RecvError::LinkStateError(
            LinkStateError::RemoteClosedWithError(error)
            | LinkStateError::RemoteDetachedWithError(error),
        ) => {
            let why = format!("the other side ended the link: {}", in_words(&error));
            Ended::Lost((Trouble::Refused, why))
        }
        RecvError::MessageSizeExceeded(exceeded) => {
            let why = too_large(exceeded.size, largest);
            Ended::Lost((Trouble::TooLarge, why))
        }
        RecvError::LinkStateError(_) => Ended::Lost((
            Trouble::Broken,
            "the connection broke: see that the other side runs and that the network is up"
                .to_owned(),
        )),
        error => {
            let why = format!("what came does not follow AMQP 1.0 ({error}): see the sender's log");
            Ended::Lost((Trouble::Garbled, why))
        }
    }
}

fn too_large(bytes: u64, largest: usize) -> String {
    format!(
        "a message of {bytes} bytes or more is larger than largest-message ({largest}): raise it, \
         or let the machine send less at once"
    )
}

/// An error of the other side, as it words it.
pub(super) fn in_words(error: &definitions::Error) -> String {
    let description = error.description.as_deref().unwrap_or_default();
    let text = format!("{:?} {description}", error.condition);
    text.chars().filter(|c| !c.is_control()).take(200).collect()
}

/// The error with which a link is ended that leads nowhere.
pub(super) fn no_such_address(address: &str) -> definitions::Error {
    let why =
        format!("nothing is at the address {address:?}: see the gateway's handle and targets");
    definitions::Error::new(AmqpError::NotFound, why, None)
}

/// The error with which a link is ended that is one too many.
pub(super) fn too_many() -> definitions::Error {
    definitions::Error::new(LinkError::DetachForced, "too many links".to_owned(), None)
}
