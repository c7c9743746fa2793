//! The links of one connection on which its machine waits for answers.
//!
//! Source: the SDK's `CFX/Transport/AmqpCFXEndpoint.cs` (`ExecuteRequestAsync`): the asker first
//! attaches a link that receives, with a private name as its target, then sends its question with
//! that name as `reply-to`. The answer goes back settled, with the question's message id as its
//! correlation id.

use std::collections::BTreeMap;
use std::sync::{Arc, Mutex, PoisonError};

use fe2o3_amqp::Sender;
use fe2o3_amqp::link::delivery::Sendable;
use fe2o3_amqp::types::messaging::{Data, Message, MessageId, Properties};
use tokio::sync::mpsc;

use super::access::STEP;
use super::ask;
use super::desk::Desk;
use super::envelope::Envelope;
use super::json::{Garbled, shortened};
use super::message::message;
use super::taker::{Ended, too_many};
use crate::link::Trouble;

/// Links of one connection that wait for answers.
const MOST_LINKS: usize = 16;
/// Answers that wait for one link.
const MOST_WAITING: usize = 64;

/// The links of one connection that wait for answers, by the name under which they do.
#[derive(Clone, Default)]
pub(super) struct Replies(Arc<Mutex<BTreeMap<String, mpsc::Sender<Message<Data>>>>>);

impl Replies {
    /// Answers on this link until it ends.
    pub(super) async fn serve(&self, name: String, mut sender: Sender) -> Ended {
        let (answer, mut answers) = mpsc::channel(MOST_WAITING);
        if self.full() {
            let _ = sender.close_with_error(too_many()).await;
            let why = format!("{MOST_LINKS} links of one connection wait for answers already");
            return Ended::Lost((Trouble::Refused, why));
        }
        self.lock().insert(name.clone(), answer.clone());
        loop {
            let message: Message<Data> = tokio::select! {
                _ = sender.on_detach() => break,
                message = answers.recv() => match message {
                    Some(message) => message,
                    None => break,
                },
            };
            let settled = Sendable::builder().message(message).settled(true).build();
            // The asker asks again where it hears nothing.
            let sent = tokio::time::timeout(STEP, sender.send(settled)).await;
            if !matches!(sent, Ok(Ok(_))) {
                break;
            }
        }
        let mut links = self.lock();
        if links.get(&name).is_some_and(|known| known.same_channel(&answer)) {
            links.remove(&name);
        }
        Ended::Left
    }

    fn full(&self) -> bool {
        self.lock().len() >= MOST_LINKS
    }

    /// Answers a question on the link that it names.
    pub(super) async fn answer(
        &self,
        desk: &Desk,
        question: &Envelope,
        properties: Option<&Properties>,
    ) -> Result<(), Unanswered> {
        let name =
            properties.and_then(|properties| properties.reply_to.as_deref()).unwrap_or_default();
        let link = self.lock().get(name).cloned().ok_or_else(|| {
            let (name, asker) = (shortened(name), shortened(&question.source));
            let why = format!(
                "a question of {asker} names {name} as reply-to, and no link waits there: attach it \
                 before the question"
            );
            Unanswered::For((Trouble::Missing, why))
        })?;
        let answer = ask::answer(desk, question).await.map_err(|_| Unanswered::Over)?;
        let asked = properties.and_then(|properties| properties.message_id.clone());
        let answer = correlated(message(&answer), asked);
        // A full link waits for an asker that reads nothing: it asks again.
        let _ = link.try_send(answer);
        Ok(())
    }

    fn lock(&self) -> std::sync::MutexGuard<'_, BTreeMap<String, mpsc::Sender<Message<Data>>>> {
        self.0.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

/// Why a question has no answer.
pub(super) enum Unanswered {
    /// The gateway stops.
    Over,
    For(Garbled),
}

fn correlated(mut message: Message<Data>, asked: Option<MessageId>) -> Message<Data> {
    if let (Some(properties), Some(asked)) = (&mut message.properties, asked) {
        properties.correlation_id = Some(asked);
    }
    message
}
