//! The links of one session of the listener: where they lead, and who hears them.

use std::sync::Arc;

use fe2o3_amqp::acceptor::{LinkAcceptor, LinkEndpoint, ListenerSessionHandle};
use fe2o3_amqp::{Receiver, Sender};
use tokio::task::JoinSet;
use tokio::time::timeout;

use crate::cfx::access::FAREWELL;
use crate::cfx::desk::Desk;
use crate::cfx::hearing::Way;
use crate::cfx::json::{Garbled, shortened};
use crate::cfx::replies::Replies;
use crate::cfx::taker::{Ended, no_such_address, take, too_many};
use crate::cfx::telling::hall::Entrance;
use crate::link::Trouble;

/// Links of one session.
const MOST_LINKS: usize = 64;

/// What a session's links need.
pub(super) struct Session {
    pub(super) desk: Arc<Desk>,
    /// Addresses to which machines may send, beside the gateway's handle.
    pub(super) targets: Vec<String>,
    pub(super) replies: Replies,
    /// Where others receive what the gateway says, if anywhere.
    pub(super) hall: Option<Entrance>,
    /// The connection's number.
    pub(super) number: u64,
}

impl Session {
    /// Hears all links until the session ends; why, where that ends the connection.
    pub(super) async fn hear(self, mut session: ListenerSessionHandle) -> Option<Garbled> {
        let largest = u64::try_from(self.desk.endpoint.largest_message).unwrap_or(u64::MAX);
        let acceptor = LinkAcceptor::builder().max_message_size(largest).build();
        let mut links: JoinSet<Ended> = JoinSet::new();
        let stop = self.desk.floor.stop.clone();
        let ended = loop {
            tokio::select! {
                () = stop.cancelled() => break None,
                attach = session.next_incoming_attach() => {
                    let Some(attach) = attach else { break None };
                    let name = attach.name.clone();
                    match acceptor.accept_incoming_attach(attach, &mut session).await {
                        Ok(link) => self.begin(link, &mut links),
                        Err(error) => {
                            let name = shortened(&name);
                            let why = format!(
                                "the link {name} cannot be attached ({error}): give each link of \
                                 a session a name of its own"
                            );
                            break Some((Trouble::Refused, why));
                        }
                    }
                }
                Some(link) = links.join_next() => match link {
                    Ok(Ended::Lost((kind, why))) => self.desk.trouble(kind, why).await,
                    Ok(Ended::Left | Ended::Over) => {}
                    Err(_) => {
                        let why = "what it sent brought its link down: see the sender's log";
                        break Some((Trouble::Garbled, why.to_owned()));
                    }
                },
            }
        };
        if stop.is_cancelled() {
            let settled = async { while links.join_next().await.is_some() {} };
            let _ = timeout(FAREWELL, settled).await;
        }
        drop(links);
        let _ = timeout(FAREWELL, session.end()).await;
        ended
    }

    fn begin(&self, link: LinkEndpoint, links: &mut JoinSet<Ended>) {
        let full = links.len() >= MOST_LINKS;
        match link {
            LinkEndpoint::Receiver(receiver) => {
                let hearing = self.receive(receiver, full);
                links.spawn(hearing);
            }
            LinkEndpoint::Sender(sender) => {
                let answering = self.answer(sender, full);
                links.spawn(answering);
            }
        }
    }

    /// A link on which the machine sends.
    fn receive(&self, receiver: Receiver, full: bool) -> impl Future<Output = Ended> + use<> {
        let target = receiver.target().as_ref().and_then(|target| target.address.clone());
        let address = target.unwrap_or_default();
        let known = address == self.desk.endpoint.handle || self.targets.contains(&address);
        let (desk, replies) = (Arc::clone(&self.desk), self.replies.clone());
        let way = Way::Connection(self.number);
        async move {
            if full || !known {
                let wrong = if full { too_many() } else { no_such_address(&address) };
                let _ = receiver.close_with_error(wrong).await;
                return Ended::Lost(nowhere(&address, full));
            }
            take(receiver, &desk, way, Some(&replies)).await
        }
    }

    /// A link on which the machine waits for answers, or receives what the gateway says.
    fn answer(&self, sender: Sender, full: bool) -> impl Future<Output = Ended> + use<> {
        let source = sender.source().as_ref().and_then(|source| source.address.clone());
        let from = source.unwrap_or_default();
        let hall = self.hall.clone().filter(|hall| hall.address == from);
        let known = hall.is_some() || from == self.desk.endpoint.handle;
        let target = sender.target().as_ref().and_then(|target| target.address.clone());
        let (to, replies) = (target.unwrap_or_default(), self.replies.clone());
        async move {
            if full || !known {
                let wrong = if full { too_many() } else { no_such_address(&from) };
                let _ = sender.close_with_error(wrong).await;
                return Ended::Lost(nowhere(&from, full));
            }
            match hall {
                Some(hall) => hall.serve(sender).await,
                None => replies.serve(to, sender).await,
            }
        }
    }
}

fn nowhere(address: &str, full: bool) -> Garbled {
    let address = shortened(address);
    if full {
        let why = format!("a link to {address} is one too many: {MOST_LINKS} are allowed");
        return (Trouble::Refused, why);
    }
    let why = format!(
        "a link to {address} leads nowhere: machines send to the gateway's handle, or to one of \
         listen: targets"
    );
    (Trouble::Unmapped, why)
}
