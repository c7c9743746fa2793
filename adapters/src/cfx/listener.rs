//! The gateway's own AMQP listener: machines attach and send, without a broker, and ask.
//!
//! It is no broker: there are no queues. What is sent to it goes to the gateway, and is accepted
//! once it is durable.

mod door;
mod links;
#[cfg(test)]
mod tests;

use std::sync::Arc;
use std::sync::atomic::{AtomicU64, Ordering};

use fe2o3_amqp::acceptor::{ConnectionAcceptor, ListenerConnectionHandle, SessionAcceptor};
use futures::future::OptionFuture;
use tokio::net::{TcpListener, TcpStream};
use tokio::task::JoinSet;
use tokio::time::timeout;
use tokio_util::sync::DropGuard;

use super::access::{FAREWELL, FRAME, Stream, within};
use super::desk::Desk;
use super::guard::Guarded;
use super::json::Garbled;
use super::replies::Replies;
use super::settings::Listen;
use super::telling::hall;
use crate::link::{BackOff, Trouble};
pub(super) use door::Door;
use links::Session;

/// Sessions of one connection.
const MOST_SESSIONS: u16 = 15;
/// Wait after a connection could not be taken.
const RESPITE: std::time::Duration = std::time::Duration::from_millis(50);

/// Listens until the order to stop.
pub(super) async fn run(desk: Arc<Desk>, listen: Listen) {
    let mut back_off = BackOff::for_machines();
    loop {
        match TcpListener::bind(&listen.address).await {
            Ok(listener) => {
                let told = listen.publish.clone();
                let told = told.map(|publish| hall::open(Arc::clone(&desk), publish));
                let (hall, telling) = told.unzip();
                let telling = OptionFuture::from(telling);
                tokio::join!(serve(&desk, &listen, listener, hall), telling);
                return;
            }
            Err(error) => {
                let why = format!(
                    "the gateway cannot listen at {} ({error}): see that no other program does, and \
                     that the address is this computer's",
                    listen.address
                );
                desk.trouble(Trouble::Refused, why.clone()).await;
                if desk.broker_lost(&why, true).await.is_err() {
                    return;
                }
            }
        }
        tokio::select! {
            () = desk.floor.stop.cancelled() => return,
            () = tokio::time::sleep(back_off.wait()) => {}
        }
    }
}

async fn serve(
    desk: &Arc<Desk>,
    listen: &Listen,
    listener: TcpListener,
    hall: Option<hall::Entrance>,
) {
    let mut connections = JoinSet::new();
    let numbers = AtomicU64::new(1);
    loop {
        tokio::select! {
            () = desk.floor.stop.cancelled() => break,
            Some(_) = connections.join_next() => {}
            accepted = listener.accept() => match accepted {
                Ok((stream, _)) if connections.len() < listen.connections as usize => {
                    let (desk, listen, hall) = (Arc::clone(desk), listen.clone(), hall.clone());
                    let number = numbers.fetch_add(1, Ordering::Relaxed);
                    connections.spawn(connection(desk, (listen, hall), stream, number));
                }
                Ok((stream, peer)) => {
                    drop(stream);
                    let why = format!(
                        "{peer} was turned away: {} connections are open already; raise connections",
                        listen.connections
                    );
                    desk.trouble(Trouble::Refused, why).await;
                }
                Err(_) => tokio::time::sleep(RESPITE).await,
            },
        }
    }
    // Each ends by itself: what is durable is accepted, then it takes leave.
    let _ = timeout(FAREWELL * 3, async { while connections.join_next().await.is_some() {} }).await;
}

async fn connection(
    desk: Arc<Desk>,
    (listen, hall): (Listen, Option<hall::Entrance>),
    stream: TcpStream,
    number: u64,
) {
    let peer = stream.peer_addr().map_or_else(|_| "somebody".to_owned(), |peer| peer.to_string());
    let stop = desk.floor.stop.clone();
    let opening = async {
        let stream = way(&listen, stream).await?;
        open(&desk, &listen, stream).await
    };
    let opened = Box::pin(stop.run_until_cancelled(opening)).await;
    let ended = match opened {
        None => return,
        Some(Err(garbled)) => Some(garbled),
        Some(Ok((connection, _cut))) => {
            let ended = hear(&desk, connection, (&listen, hall.as_ref()), number).await;
            // Its machines are gone with it; where the gateway stops nobody wants to know.
            let _ = desk.connection_ended(number).await;
            ended
        }
    };
    if let Some((kind, why)) = ended {
        desk.trouble(kind, format!("connection of {peer}: {why}")).await;
    }
}

async fn way(listen: &Listen, stream: TcpStream) -> Result<Box<dyn Stream>, Garbled> {
    let broken = |error: std::io::Error| (Trouble::Broken, error.to_string());
    stream.set_nodelay(true).map_err(broken)?;
    Ok(match listen.tls.clone() {
        None => Box::new(stream),
        Some(tls) => within("the securing of the connection", door::secure(tls, stream)).await??,
    })
}

async fn open(
    desk: &Desk,
    listen: &Listen,
    stream: Box<dyn Stream>,
) -> Result<(ListenerConnectionHandle, DropGuard), Garbled> {
    let door = Door::of(listen).map_err(|why| (Trouble::Refused, why))?;
    // The machine is told half of it, and waited for three quarters: see the guard.
    let told = desk.endpoint.idle_time_out.0 / 2;
    let idle = u32::try_from(told.as_millis()).unwrap_or(u32::MAX);
    let acceptor = ConnectionAcceptor::builder()
        .container_id(desk.endpoint.handle.as_str())
        .max_frame_size(FRAME)
        .channel_max(MOST_SESSIONS)
        .idle_time_out(idle)
        .sasl_acceptor(door)
        .build();
    let (stream, cut) = Guarded::new(stream);
    let accepted =
        within("the opening of a connection", acceptor.accept(stream.patient(told / 2))).await?;
    accepted.map(|connection| (connection, cut)).map_err(|error| {
        let why = format!(
            "it was not let in ({error}): it must speak AMQP 1.0 with SASL, PLAIN where the \
             settings name a user, else ANONYMOUS"
        );
        (Trouble::Refused, why)
    })
}

/// Hears all sessions of a connection until it ends; why, where that is a trouble.
async fn hear(
    desk: &Arc<Desk>,
    mut connection: ListenerConnectionHandle,
    (listen, hall): (&Listen, Option<&hall::Entrance>),
    number: u64,
) -> Option<Garbled> {
    let acceptor = SessionAcceptor::builder().handle_max(256).build();
    let mut sessions = JoinSet::new();
    let (stop, replies) = (desk.floor.stop.clone(), Replies::default());
    let mut ended = None;
    loop {
        tokio::select! {
            () = stop.cancelled() => break,
            session = acceptor.accept(&mut connection) => match session {
                Ok(session) => {
                    let (targets, replies) = (listen.targets.clone(), replies.clone());
                    let (desk, hall) = (Arc::clone(desk), hall.cloned());
                    let hearer = Session { desk, targets, replies, hall, number };
                    sessions.spawn(hearer.hear(session));
                }
                Err(_) => break,
            },
            Some(session) = sessions.join_next() => match session {
                Ok(None) => {}
                Ok(garbled) => {
                    ended = garbled;
                    break;
                }
                Err(_) => {
                    let why = "what it sent brought its link down: see the sender's log";
                    ended = Some((Trouble::Garbled, why.to_owned()));
                    break;
                }
            },
        }
    }
    if stop.is_cancelled() {
        let settled = async { while sessions.join_next().await.is_some() {} };
        let _ = timeout(FAREWELL, settled).await;
    }
    drop(sessions);
    let _ = timeout(FAREWELL, connection.close()).await;
    ended
}
