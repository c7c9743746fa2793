//! The gateway's connection as an edge node (Sparkplug 3.0.0, 5.4, 5.5, 5.17).

use std::path::Path;
use std::time::Duration;

use async_trait::async_trait;
use stencilward_domain::names::MachineName;
use tokio::time::Instant;

use super::connection::{Connection, Heard};
use super::edge::{Edge, Message};
use super::payload::{Payload, datatype};
use super::settings::OwnNode;
use super::topic::{Kind, Topic, read_state, state};
use super::value::Plain;
use super::{REBIRTH, millis};
use crate::link::{BackOff, Floor};
use crate::mqtt::{Access, Arrived, Broker, Lost, Post, STEADY};
use crate::shown::View;

/// Shortest time between two looks at what has changed: changes within it go together.
const PACE: Duration = Duration::from_millis(250);
/// Shortest time from one birth to one that is asked for.
const BETWEEN_BIRTHS: Duration = Duration::from_secs(1);
/// Longest wait for the broker to take the last messages, once told to stop.
const FAREWELL: Duration = Duration::from_secs(2);

/// The gateway as an edge node of one broker. It speaks for no machine.
pub struct OwnNodeLink {
    broker: Broker,
    own: OwnNode,
    view: View,
}

impl OwnNodeLink {
    /// A link that is not running yet.
    #[must_use]
    pub fn new(broker: Broker, own: OwnNode, view: View) -> Self {
        Self { broker, own, view }
    }
}

/// Why a connection ended.
enum Ended {
    Stopped,
    /// The primary host application is gone: begin anew.
    Alone,
    Lost(Lost),
    /// The broker does not take what is published: why.
    Unwanted(String),
}

#[async_trait]
impl crate::link::Link for OwnNodeLink {
    fn machines(&self) -> Vec<MachineName> {
        Vec::new()
    }

    async fn run(mut self: Box<Self>, floor: Floor) {
        let access = Access::new(self.broker.clone());
        let mut back_off = BackOff::for_machines();
        let mut kept = Kept { last: None };
        let mut told = false;
        let shown = self.view.wait_for(|shown| shown.complete);
        if !matches!(floor.stop.run_until_cancelled(shown).await, Some(Ok(_))) {
            return;
        }
        loop {
            let bd_seq = kept.next(&self.own.kept_in).await;
            let mut session = Session {
                edge: Edge::new(self.own.name(), bd_seq),
                primary: None,
                born: None,
                wanted: None,
            };
            let ended = self.connection(&access, &mut session, &floor).await;
            if let Some(born) = session.born {
                told = false;
                if born.elapsed() >= STEADY || matches!(ended, Ended::Alone) {
                    back_off.reset();
                }
            }
            match ended {
                Ended::Stopped => return,
                Ended::Alone => {
                    tracing::info!(node = %self.own.name(), "waits for its primary host")
                }
                Ended::Lost(lost) if !std::mem::replace(&mut told, true) => {
                    let (_, why) = lost.told();
                    tracing::warn!(node = %self.own.name(), why, "does not show the stencils");
                }
                Ended::Unwanted(why) if !std::mem::replace(&mut told, true) => {
                    tracing::warn!(
                        node = %self.own.name(), why, "the broker does not take what is published"
                    );
                }
                Ended::Lost(_) | Ended::Unwanted(_) => {}
            }
            tokio::select! {
                () = floor.stop.cancelled() => return,
                () = tokio::time::sleep(back_off.wait()) => {}
            }
        }
    }
}

/// One connection.
struct Session {
    edge: Edge,
    /// The time of the primary host's last state, and whether it is there.
    primary: Option<(bool, u64)>,
    born: Option<Instant>,
    /// When the birth that was asked for may be told.
    wanted: Option<Instant>,
}

impl OwnNodeLink {
    async fn connection(&mut self, access: &Access, session: &mut Session, floor: &Floor) -> Ended {
        let opening = Connection::open(access, "node", death(session));
        let mut connection = match floor.stop.run_until_cancelled(opening).await {
            Some(Ok(connection)) => connection,
            Some(Err(lost)) => return Ended::Lost(lost),
            None => return Ended::Stopped,
        };
        let ended = self.speak(session, &mut connection, floor).await;
        if matches!(ended, Ended::Stopped | Ended::Alone) {
            let farewell = async {
                connection.publish(death(session)).await;
                connection.leave().await;
            };
            let _ = tokio::time::timeout(FAREWELL, farewell).await;
        }
        ended
    }

    async fn speak(
        &mut self,
        session: &mut Session,
        connection: &mut Connection,
        floor: &Floor,
    ) -> Ended {
        let mut next_look = Instant::now();
        let mut subscribed = false;
        connection.subscribe(self.filters()).await;
        loop {
            let due = session.wanted.filter(|_| session.born.is_some());
            // While a birth is asked for no data are sent.
            let looks = session.born.is_some() && session.wanted.is_none();
            tokio::select! {
                () = floor.stop.cancelled() => return Ended::Stopped,
                heard = connection.next() => match heard {
                    Err(lost) => return Ended::Lost(lost),
                    Ok(Heard::Granted(_)) => subscribed = true,
                    Ok(Heard::Unwanted(why)) => return Ended::Unwanted(why),
                    Ok(Heard::Message(arrived)) => {
                        connection.confirm(arrived.token).await;
                        if self.hear(session, &arrived) {
                            return Ended::Alone;
                        }
                    }
                },
                () = sleep_until(due), if due.is_some() => self.be_born(session, connection).await,
                changed = self.view.changed(), if looks => {
                    if changed.is_err() {
                        return Ended::Stopped;
                    }
                    tokio::time::sleep_until(next_look).await;
                    next_look = Instant::now() + PACE;
                    let messages = session.edge.change(&self.view.borrow_and_update(), millis());
                    send(connection, messages).await;
                }
            }
            let waits = self.own.primary_host.is_some()
                && session.primary.is_none_or(|(online, _)| !online);
            if subscribed && !waits && session.born.is_none() {
                self.be_born(session, connection).await;
            }
        }
    }

    fn filters(&self) -> Vec<(String, u8)> {
        let commands = Topic::new(&self.own.name(), Kind::Command, None).to_string();
        let primary = self.own.primary_host.as_deref().map(state);
        let topics = std::iter::once(commands).chain(primary);
        topics.map(|topic| (topic, 1)).collect()
    }

    async fn be_born(&mut self, session: &mut Session, connection: &mut Connection) {
        let messages = session.edge.birth(&self.view.borrow_and_update(), millis());
        send(connection, messages).await;
        (session.born, session.wanted) = (Some(Instant::now()), None);
    }

    /// Takes in a message; true when the primary host application says that it goes.
    fn hear(&self, session: &mut Session, arrived: &Arrived) -> bool {
        let primary = self.own.primary_host.as_deref().map(state);
        if primary.as_deref() == Some(&arrived.topic) {
            let Some((online, since)) = read_state(&arrived.payload) else {
                return false;
            };
            // The will of an earlier connection may come after the next birth.
            let old = session.primary.is_some_and(|(_, known)| since < known);
            if !old {
                session.primary = Some((online, since));
            }
            return !old && !online && session.born.is_some();
        }
        if !arrived.stored && asks_for_birth(&arrived.payload) && session.wanted.is_none() {
            let earliest = session.born.map(|born| born + BETWEEN_BIRTHS);
            session.wanted = Some(earliest.unwrap_or_else(Instant::now));
        }
        false
    }
}

/// True for the only command there is: to be born again. Nothing else can be written here.
fn asks_for_birth(payload: &[u8]) -> bool {
    let Ok(payload) = Payload::read(payload) else {
        return false;
    };
    payload.metrics.iter().any(|metric| {
        let kind = metric.datatype.or(Some(datatype::BOOLEAN));
        metric.name.as_deref() == Some(REBIRTH)
            && Plain::of(metric, kind).is_ok_and(|value| value.truth() == Some(true))
    })
}

/// The death certificate: will and farewell.
fn death(session: &Session) -> Post {
    let (topic, death) = session.edge.death(millis());
    Post { topic: topic.to_string(), payload: death.bytes(), retain: false, reply: None }
}

async fn send(connection: &mut Connection, messages: Vec<Message>) {
    for (topic, payload) in messages {
        connection.send(&topic, payload.bytes()).await;
    }
}

async fn sleep_until(at: Option<Instant>) {
    if let Some(at) = at {
        tokio::time::sleep_until(at).await;
    }
}

/// The number of the last birth, kept across restarts: a will that comes late must not be taken
/// for that of the session after it.
struct Kept {
    last: Option<u64>,
}

impl Kept {
    /// The next number: from 0 to 255, one more with each connection.
    async fn next(&mut self, file: &Path) -> u64 {
        let (file, last) = (file.to_path_buf(), self.last);
        let next = tokio::task::spawn_blocking(move || {
            let read = || std::fs::read_to_string(&file).ok()?.trim().parse::<u64>().ok();
            let next = last.or_else(read).map_or(0, |last| last.wrapping_add(1) % 256);
            let mut fresh = file.clone().into_os_string();
            fresh.push(".new");
            let written = std::fs::write(&fresh, format!("{next}\n"))
                .and_then(|()| std::fs::rename(&fresh, &file));
            if let (Err(error), None) = (written, last) {
                let file = file.display();
                tracing::warn!(
                    %error,
                    "the number of this birth cannot be kept in {file}: let the gateway's user \
                     write there, or a late death certificate may be taken for a present one"
                );
            }
            next
        });
        let next = next.await.unwrap_or(0);
        self.last = Some(next);
        next
    }
}
