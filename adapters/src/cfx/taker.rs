//! One AMQP link on which machines send: each message is accepted once what follows from it is
//! durable, and rejected when it can never be understood. Credit is what slows a sender down: none
//! is granted while as many messages wait to be accepted.
//!
//! What is under way when the gateway stops is left unsettled, so that the broker or the machine
//! sends it again.

use std::sync::Arc;

use fe2o3_amqp::Receiver;
use fe2o3_amqp::link::delivery::DeliveryInfo;
use fe2o3_amqp::link::receiver::{CreditMode, ReceiverDisposer};
use fe2o3_amqp::link::{LinkStateError, RecvError};
use fe2o3_amqp::types::definitions::{self, AmqpError, LinkError};
use fe2o3_amqp::types::messaging::{Body, Message};
use fe2o3_amqp::types::primitives::Value;
use tokio::sync::mpsc;

use super::access::FAREWELL;
use super::desk::{Desk, Over};
use super::envelope::{Envelope, envelopes};
use super::hearing::Way;
use super::json::Garbled;
use super::kinds::Kind;
use super::replies::{Replies, Unanswered};
use crate::link::{Receipt, Trouble};

/// Messages that a sender may have under way.
pub(super) const CREDIT: u32 = 100;

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

/// A message that is accepted once these have answered.
type Waiting = (DeliveryInfo, Vec<Receipt>);

/// Hears a link until it ends.
pub(super) async fn take(
    mut receiver: Receiver,
    desk: &Arc<Desk>,
    way: Way,
    replies: Option<&Replies>,
) -> Ended {
    receiver.set_credit_mode(CreditMode::Manual);
    let disposer = receiver.disposer();
    let (finish, finished) = mpsc::channel(CREDIT as usize);
    let reading = read(&mut receiver, desk, way, replies, finish);
    let settling = settle(&disposer, finished);
    tokio::pin!(reading, settling);
    let mut all_settled = false;
    let ended = loop {
        tokio::select! {
            biased;
            failed = &mut settling, if !all_settled => match failed {
                Some(ended) => return ended,
                None => all_settled = true,
            },
            ended = &mut reading => break ended,
        }
    };
    if matches!(ended, Ended::Over) && !all_settled {
        // What is durable by then is accepted; the rest comes again.
        let _ = tokio::time::timeout(FAREWELL, settling).await;
    }
    ended
}

async fn read(
    receiver: &mut Receiver,
    desk: &Arc<Desk>,
    way: Way,
    replies: Option<&Replies>,
    finish: mpsc::Sender<Waiting>,
) -> Ended {
    loop {
        // Only once all that was granted has come: RabbitMQ 3.10 forgets what is under way inside
        // it, and sends more than it may when more is granted before.
        if receiver.credit() == 0
            && let Err(error) = receiver.set_credit(CREDIT).await
        {
            return lost(RecvError::LinkStateError(error.into()), desk.endpoint.largest_message);
        }
        let received = tokio::select! {
            biased;
            () = desk.floor.stop.cancelled() => return Ended::Over,
            received = receiver.recv::<Body<Value>>() => received,
        };
        let delivery = match received {
            Ok(delivery) => delivery,
            Err(RecvError::MessageDecode(error)) => {
                let why = format!("a message that does not follow AMQP 1.0 ({})", error.source);
                if let Err(lost) = reject(receiver, desk, error.info, (Trouble::Garbled, why)).await
                {
                    return lost;
                }
                continue;
            }
            Err(error) => return lost(error, desk.endpoint.largest_message),
        };
        let (info, message) = delivery.into_parts();
        let receipts = match taken(message, desk, way, replies).await {
            Ok(receipts) => receipts,
            Err(Refused::Over) => return Ended::Over,
            Err(Refused::For(garbled)) => {
                if let Err(lost) = reject(receiver, desk, info, garbled).await {
                    return lost;
                }
                continue;
            }
        };
        if finish.send((info, receipts)).await.is_err() {
            return Ended::Lost(unsettled("nothing is accepted any more"));
        }
    }
}

/// Why a message is not taken.
enum Refused {
    Over,
    For(Garbled),
}

impl From<Over> for Refused {
    fn from(Over: Over) -> Self {
        Self::Over
    }
}

impl From<Unanswered> for Refused {
    fn from(unanswered: Unanswered) -> Self {
        match unanswered {
            Unanswered::Over => Self::Over,
            Unanswered::For(garbled) => Self::For(garbled),
        }
    }
}

/// Takes a message in: what it says goes to the gateway, what it asks is answered.
async fn taken(
    message: Message<Body<Value>>,
    desk: &Arc<Desk>,
    way: Way,
    replies: Option<&Replies>,
) -> Result<Vec<Receipt>, Refused> {
    let body = bytes(message.body).map_err(Refused::For)?;
    let envelopes = envelopes(&body, desk.endpoint.largest_text).map_err(Refused::For)?;
    let asks = |envelope: &Envelope| envelope.kind() == Some(Kind::Request);
    let (questions, told): (Vec<_>, Vec<_>) = envelopes.into_iter().partition(asks);
    let receipts = desk.hear(&told, way).await?;
    // A question to everybody through the broker has no answer: who wants ours asks us.
    if let (Some(replies), Some(question)) = (replies, questions.first()) {
        replies.answer(desk, question, message.properties.as_ref()).await?;
    }
    Ok(receipts)
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

/// It could never be understood: kept, it would come again for ever.
async fn reject(
    receiver: &Receiver,
    desk: &Desk,
    info: DeliveryInfo,
    (kind, why): Garbled,
) -> Result<(), Ended> {
    let error = definitions::Error::new(AmqpError::DecodeError, why.clone(), None);
    desk.trouble(kind, format!("a message was rejected: {why}")).await;
    let rejected = receiver.reject(info, error).await;
    rejected.map_err(|error| Ended::Lost((Trouble::Broken, error.to_string())))
}

/// Accepts messages in the order of their arrival. None when all are.
async fn settle(
    disposer: &ReceiverDisposer,
    mut finished: mpsc::Receiver<Waiting>,
) -> Option<Ended> {
    while let Some((info, receipts)) = finished.recv().await {
        for receipt in receipts {
            if receipt.durable().await.is_err() {
                return Some(Ended::Over);
            }
        }
        if let Err(error) = disposer.accept(info).await {
            return Some(Ended::Lost(unsettled(&error.to_string())));
        }
    }
    None
}

fn unsettled(why: &str) -> Garbled {
    let why = format!("a message could not be accepted, and will come again ({why})");
    (Trouble::Broken, why)
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
            let why = format!(
                "a message of {} bytes or more is larger than largest-message ({largest}): raise \
                 it, or let the machine send less at once",
                exceeded.size
            );
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
