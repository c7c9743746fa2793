//! The connection on which a simulated machine sends, made again for ever.

use std::sync::Arc;
use std::sync::atomic::Ordering;
use std::time::Duration;

use fe2o3_amqp::Sender;
use fe2o3_amqp::link::SendError;
use fe2o3_amqp::types::messaging::{Data, Message, Outcome};
use fe2o3_amqp::types::primitives::Binary;
use stencilward_domain::signal::Said;
use tokio::sync::{mpsc, watch};
use tokio::time::{MissedTickBehavior, interval, sleep, timeout};

use super::{Manner, Power};
use crate::cfx::access::{Open, STEP, open, within};
use crate::cfx::announce;
use crate::cfx::encode::{self, Told};
use crate::cfx::envelope::Envelope;
use crate::cfx::json::Garbled;
use crate::cfx::message::message;
use crate::cfx::settings::{AtBroker, Endpoint, Settings};

/// Wait before the next attempt to connect.
const AGAIN: Duration = Duration::from_millis(100);
/// The pace of its heartbeats.
const BEAT: Duration = Duration::from_secs(1);

/// What is sent.
pub(super) enum Post {
    Envelope(Box<Envelope>),
    Raw(Vec<u8>),
}

pub(super) struct Line {
    pub(super) at: AtBroker,
    pub(super) me: Endpoint,
    pub(super) gateway: String,
    pub(super) settings: Settings,
    pub(super) posts: mpsc::Receiver<Post>,
    pub(super) power: watch::Receiver<Power>,
    pub(super) manner: Arc<Manner>,
}

/// A connection with a link on which to send.
struct Tied {
    open: Open,
    sender: Sender,
}

impl Line {
    pub(super) async fn run(mut self) {
        // What was not accepted before the connection ended.
        let mut head = None;
        let mut greets = true;
        while self.power.wait_for(|power| power.on).await.is_ok() {
            let present = *self.power.borrow_and_update();
            match self.tie().await {
                Ok(mut tied) => {
                    let told = encode::told(&self.settings, &UP, None, "").unwrap_or_default();
                    for told in told.into_iter().filter(|_| greets) {
                        let _ = self.send(&mut tied, &self.post(told)).await;
                    }
                    greets = false;
                    if self.speak(&mut tied, &mut head, present).await.is_err() {
                        return;
                    }
                    if !self.power.borrow().on {
                        greets = true;
                    }
                    drop(tied.sender);
                    tied.open.leave().await;
                }
                Err((_, why)) => {
                    tracing::debug!(why, "a simulated machine has no connection");
                    sleep(AGAIN).await;
                }
            }
        }
    }

    async fn tie(&self) -> Result<Tied, Garbled> {
        let mut open = open(&self.at.whereto(), &self.me).await?;
        let name = format!("{}-says", self.settings.handle);
        let attaching = Sender::attach(&mut open.session, name, self.gateway.as_str());
        let sender = within("to a link", attaching).await?.map_err(|error| {
            (crate::link::Trouble::Refused, format!("no link to the gateway: {error}"))
        })?;
        Ok(Tied { open, sender })
    }

    /// Sends until the connection or the power is gone; an error when nobody gives more to send.
    async fn speak(
        &mut self,
        tied: &mut Tied,
        head: &mut Option<Post>,
        present: Power,
    ) -> Result<(), ()> {
        let mut beat = interval(BEAT);
        beat.set_missed_tick_behavior(MissedTickBehavior::Delay);
        // The first heartbeat goes before anything else, as the SDK sends it.
        beat.tick().await;
        if !self.beat(tied).await {
            return Ok(());
        }
        loop {
            if let Some(post) = head.as_ref() {
                if !self.send(tied, post).await {
                    return Ok(());
                }
                *head = None;
            }
            tokio::select! {
                biased;
                changed = self.power.changed() => {
                    if changed.is_err() || *self.power.borrow() != present {
                        return Ok(());
                    }
                }
                _ = tied.sender.on_detach() => return Ok(()),
                post = self.posts.recv() => *head = Some(post.ok_or(())?),
                _ = beat.tick() => {
                    if !self.beat(tied).await {
                        return Ok(());
                    }
                }
            }
        }
    }

    /// Sends a heartbeat, unless it is silent; false when the connection is gone.
    async fn beat(&self, tied: &mut Tied) -> bool {
        let silent = self.manner.silent.load(Ordering::SeqCst);
        let beat = announce::heartbeat(&self.settings.handle, BEAT, None);
        silent || self.send(tied, &Post::Envelope(Box::new(beat))).await
    }

    fn post(&self, (name, body): Told) -> Post {
        Post::Envelope(Box::new(Envelope::said(&self.settings.handle, name, body)))
    }

    /// True once the gateway has it, or will never take it.
    async fn send(&self, tied: &mut Tied, post: &Post) -> bool {
        let message: Message<Data> = match post {
            Post::Envelope(envelope) => message(envelope),
            Post::Raw(body) => Message::builder().data(Binary::from(body.clone())).build(),
        };
        // An outcome that never comes may mean that it was taken: it is said again.
        match timeout(STEP, tied.sender.send(message)).await {
            Ok(Ok(Outcome::Accepted(_) | Outcome::Rejected(_))) => true,
            // It would never be taken.
            Ok(Err(SendError::MessageSizeExceeded(_))) => true,
            Ok(Ok(Outcome::Released(_) | Outcome::Modified(_)) | Err(_)) | Err(_) => false,
        }
    }
}

const UP: Said = Said::LinkUp { resumed: false };
