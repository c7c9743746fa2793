//! A connection to a broker, as Sparkplug wants it: a clean session with a will (3.0.0, 5.3, 5.4).

use std::time::Duration;

use tokio::time::{Instant, timeout, timeout_at};

use super::topic::Topic;
use crate::mqtt::{Access, Arrived, Grant, Incident, Lost, Memory, Order, Post, Session, Token};

/// The id of the one subscription; messages have those above it.
const SUBSCRIPTION: u16 = 1;
/// Longest wait for the answer to it.
const SUBSCRIBING: Duration = Duration::from_secs(10);
/// Longest wait for room among what is to be sent.
const SENDING: Duration = Duration::from_secs(5);

/// One connection, from its first packet to its last. Dropped, it ends without leave.
pub(super) struct Connection {
    session: Session,
    last_id: u16,
    /// When the answer to the subscription is late.
    granted_by: Option<Instant>,
}

/// What is heard over a connection.
pub(super) enum Heard {
    Message(Arrived),
    /// What became of each filter, in its order.
    Granted(Vec<Grant>),
    /// The broker does not take what was published: why.
    Unwanted(String),
}

impl Connection {
    /// Connects as `way` of this broker's client, and waits until the broker lets it in.
    pub(super) async fn open(access: &Access, way: &str, will: Post) -> Result<Self, Lost> {
        let mut hello = access.hello(access.client(way), Memory::None)?;
        hello.will = Some(will);
        let session = Session::open(access, &hello).await?;
        Ok(Self { session, last_id: SUBSCRIPTION, granted_by: None })
    }

    /// The next thing heard, or why there is nothing more.
    pub(super) async fn next(&mut self) -> Result<Heard, Lost> {
        loop {
            let incident = self.session.incidents.recv();
            let incident = match self.granted_by {
                Some(late) => {
                    timeout_at(late, incident).await.map_err(|_| Lost::Late("a subscription"))?
                }
                None => incident.await,
            };
            // It ends without a word only where sending was given up.
            match incident.unwrap_or(Err(Lost::Silent))? {
                Incident::Message(arrived, _) => return Ok(Heard::Message(arrived)),
                Incident::Granted { grants, .. } => {
                    self.granted_by = None;
                    return Ok(Heard::Granted(grants));
                }
                Incident::Confirmed { refusal: Some(why), .. } => return Ok(Heard::Unwanted(why)),
                Incident::Confirmed { refusal: None, .. } => {}
            }
        }
    }

    /// Subscribes; what became of it `next` tells.
    pub(super) async fn subscribe(&mut self, filters: Vec<(String, u8)>) {
        self.granted_by = Some(Instant::now() + SUBSCRIBING);
        self.order(Order::Subscribe(SUBSCRIPTION, filters)).await;
    }

    /// Publishes as all messages but wills and those of hosts are: once at most, and not kept
    /// (6.4.19 to 6.4.26).
    pub(super) async fn send(&mut self, topic: &Topic, payload: Vec<u8>) {
        let post = Post { topic: topic.to_string(), payload, retain: false, reply: None };
        self.order(Order::Publish(0, post)).await;
    }

    /// Publishes with QoS 1.
    pub(super) async fn publish(&mut self, post: Post) {
        self.last_id = self.last_id.checked_add(1).unwrap_or(SUBSCRIPTION + 1);
        self.order(Order::Publish(self.last_id, post)).await;
    }

    /// Confirms a message that is dealt with.
    pub(super) async fn confirm(&self, token: Token) {
        self.order(Order::Acknowledge(vec![token])).await;
    }

    /// Takes leave, so that the broker keeps the will to itself, and waits until that has left.
    pub(super) async fn leave(mut self) {
        self.order(Order::Leave).await;
        while self.next().await.is_ok() {}
    }

    /// A connection that is gone says so to `next`. One that takes nothing any more is given up.
    async fn order(&self, order: Order) {
        if timeout(SENDING, self.session.orders.send(order)).await.is_err() {
            self.session.moving.abort();
        }
    }
}
