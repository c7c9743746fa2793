//! The listener on which a simulated machine is locked and unlocked.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;
use std::sync::atomic::Ordering;

use fe2o3_amqp::acceptor::{ConnectionAcceptor, LinkAcceptor, LinkEndpoint, SessionAcceptor};
use fe2o3_amqp::link::delivery::Sendable;
use fe2o3_amqp::types::definitions::{AmqpError, Error};
use fe2o3_amqp::types::messaging::Body;
use fe2o3_amqp::types::primitives::Value as AmqpValue;
use fe2o3_amqp::{Receiver, Sender};
use serde_json::{Map, Value, json};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::task::JoinSet;
use tokio::time::sleep;

use super::{Manner, Power, lock};
use crate::cfx::envelope::{Envelope, envelopes};
use crate::cfx::guard::Guarded;
use crate::cfx::json::{count, object, text};
use crate::cfx::listener::Door;
use crate::cfx::message::message;
use crate::cfx::settings::{Listen, Output};

/// Largest request read, in bytes.
const LARGEST: usize = 1 << 20;
/// Wait before it listens again where it could not.
const AGAIN: std::time::Duration = std::time::Duration::from_millis(100);

/// What can be locked, and whether it may go on.
pub(super) type Lockable = (Output, watch::Sender<bool>);

#[derive(Clone)]
pub(super) struct Station {
    pub(super) address: SocketAddr,
    pub(super) handle: String,
    pub(super) locks: Arc<Vec<Lockable>>,
    pub(super) power: watch::Receiver<Power>,
    pub(super) manner: Arc<Manner>,
}

impl Station {
    pub(super) async fn run(mut self) {
        while self.power.wait_for(|power| power.on).await.is_ok() {
            let present = *self.power.borrow_and_update();
            let Ok(listener) = TcpListener::bind(self.address).await else {
                sleep(AGAIN).await;
                continue;
            };
            // Those that were let in end with it.
            let mut connections = JoinSet::new();
            loop {
                tokio::select! {
                    changed = self.power.changed() => {
                        if changed.is_err() || *self.power.borrow() != present {
                            break;
                        }
                    }
                    Ok((stream, _)) = listener.accept() => {
                        connections.spawn(self.clone().connection(stream));
                    }
                    Some(_) = connections.join_next() => {}
                }
            }
            if !self.power.borrow().on {
                // Switched on again it is locked until it is told otherwise.
                for (_, lever) in self.locks.iter() {
                    lever.send_replace(false);
                }
            }
        }
    }

    /// Serves one session until the connection ends.
    async fn connection(self, stream: TcpStream) -> Option<()> {
        stream.set_nodelay(true).ok()?;
        let acceptor = ConnectionAcceptor::builder()
            .container_id(self.handle.as_str())
            .sasl_acceptor(Door::of(&Listen::plain(self.address)).ok()?)
            .build();
        let (stream, _cut) = Guarded::new(Box::new(stream));
        let mut connection = acceptor.accept(stream).await.ok()?;
        let mut session = SessionAcceptor::new().accept(&mut connection).await.ok()?;
        let (mut replies, mut asked) = (BTreeMap::new(), None::<Receiver>);
        loop {
            tokio::select! {
                attach = session.next_incoming_attach() => {
                    let links = LinkAcceptor::new();
                    match links.accept_incoming_attach(attach?, &mut session).await.ok()? {
                        LinkEndpoint::Receiver(receiver) => asked = Some(receiver),
                        LinkEndpoint::Sender(sender) => {
                            let target = sender.target().as_ref()?.address.clone()?;
                            replies.insert(target, sender);
                        }
                    }
                }
                answered = self.answer(asked.as_mut(), &mut replies) => answered?,
            }
        }
    }

    /// Answers the next request; none when the link is gone.
    async fn answer(
        &self,
        asked: Option<&mut Receiver>,
        replies: &mut BTreeMap<String, Sender>,
    ) -> Option<()> {
        let Some(asked) = asked else { return std::future::pending().await };
        let delivery = asked.recv::<Body<AmqpValue>>().await.ok()?;
        let properties = delivery.message().properties.as_ref();
        let link = properties.and_then(|properties| replies.get_mut(properties.reply_to.as_ref()?));
        let Some(link) = link else {
            let error = Error::new(AmqpError::NotFound, "no link for the answer".to_owned(), None);
            return asked.reject(&delivery, error).await.ok();
        };
        let data = delivery.body().try_as_data().ok()?;
        let body: Vec<u8> = data.flat_map(|section| section.iter().copied()).collect();
        asked.accept(&delivery).await.ok()?;
        let late = *lock(&self.manner.late);
        sleep(late).await;
        if self.manner.silent.load(Ordering::SeqCst) {
            return Some(());
        }
        for request in envelopes(&body, LARGEST).ok()? {
            let answer = message(&self.obey(&request));
            link.send(Sendable::builder().message(answer).settled(true).build()).await.ok()?;
        }
        Some(())
    }

    fn obey(&self, request: &Envelope) -> Envelope {
        let permits = match request.name.as_str() {
            "CFX.Production.LockStationRequest" => false,
            "CFX.Production.UnlockStationRequest" => true,
            _ => {
                let result = result("Failed", "only locks are known here");
                return answer(request, "CFX.NotSupportedResponse", "RequestResult", &result);
            }
        };
        let name = request.name.replace("Request", "Response");
        if self.manner.disobeys.load(Ordering::SeqCst) {
            let result = result("Failed", "it is under local control");
            return answer(request, &name, "Result", &result);
        }
        let stage = object(&request.body, "Stage").and_then(|stage| text(stage, "StageName"));
        let lane = count(&request.body, "Lane");
        for (output, lever) in self.locks.iter() {
            let of = output.stage.as_ref().map(|stage| stage.name.as_str());
            if output.lane.map(u64::from) == lane && of == stage {
                lever.send_replace(permits);
            }
        }
        answer(request, &name, "Result", &result("Success", ""))
    }
}

fn answer(request: &Envelope, name: &str, under: &str, result: &Value) -> Envelope {
    request.answer(name, Map::from_iter([(under.to_owned(), result.clone())]))
}

fn result(result: &str, message: &str) -> Value {
    json!({ "Result": result, "ResultCode": 0, "Message": message })
}
