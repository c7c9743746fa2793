//! The link of a host application: one connection, made again for ever.
//!
//! Data come with quality of service 0: what is lost shows by its number and is told anew. Only a
//! death certificate and our own state come with 1, and are confirmed once what follows is durable.

use std::sync::Arc;
use std::time::Duration;

use async_trait::async_trait;
use stencilward_domain::names::MachineName;
use stencilward_domain::outputs::Wanted;
use tokio::time::Instant;

use super::connection::{Connection, Heard};
use super::host::{Deed, Host, Moment};
use super::outputs::Outputs;
use super::payload::{Metric, Payload, Value, datatype};
use super::settings::{AtBroker, Settings};
use super::topic::{Kind, Topic, read_state, state, state_payload};
use super::{REBIRTH, millis};
use crate::link::{BackOff, Floor, Receipt, Trouble, now};
use crate::mqtt::{Access, Arrived, Broker, Grant, Lost, Post, STEADY};

/// Between two comparisons of outputs while nothing changes.
const PACE: Duration = Duration::from_secs(1);
/// Longest wait for the broker to take the last messages, once told to stop.
const FAREWELL: Duration = Duration::from_secs(2);

/// The link to the edge nodes of one broker.
pub struct Link {
    broker: Broker,
    at: AtBroker,
    machines: Vec<(MachineName, Settings)>,
}

impl Link {
    /// A link that is not running yet.
    #[must_use]
    pub fn new(broker: Broker, at: AtBroker, machines: Vec<(MachineName, Settings)>) -> Self {
        Self { broker, at, machines }
    }
}

#[async_trait]
impl crate::link::Link for Link {
    fn machines(&self) -> Vec<MachineName> {
        self.machines.iter().map(|(machine, _)| machine.clone()).collect()
    }

    async fn run(self: Box<Self>, floor: Floor) {
        let id = self.at.host_id.clone().unwrap_or_else(|| self.broker.client.clone());
        let mut ears = Ears {
            host: Host::new(&self.machines, self.at.reorder_timeout.0),
            outputs: Outputs::new(&self.machines),
            state: state(&id),
            first: self.machines.first().map(|(machine, _)| machine.clone()),
            begun: Instant::now(),
            floor,
        };
        let access = Access::new(self.broker);
        let mut back_off = BackOff::for_machines();
        loop {
            let Ended::Lost(lost) = ears.connection(&access, &mut back_off).await else {
                return;
            };
            let (kind, why) = lost.told();
            ears.trouble(kind, &why);
            let deeds = ears.host.lost(&why, ears.now());
            if ears.deliver(deeds).await.is_err() {
                return;
            }
            tokio::select! {
                () = ears.floor.stop.cancelled() => return,
                () = tokio::time::sleep(back_off.wait()) => {}
            }
        }
    }
}

/// Why a connection ended.
enum Ended {
    /// It was told to, or nobody takes signals any more.
    Stopped,
    /// It broke, was refused, or was cut.
    Lost(Lost),
}

/// Nobody takes signals any more, or the order to stop has come.
struct Over;

struct Ears {
    host: Host,
    outputs: Outputs,
    /// The topic of our own state.
    state: String,
    first: Option<MachineName>,
    begun: Instant,
    floor: Floor,
}

impl Ears {
    async fn connection(&mut self, access: &Access, back_off: &mut BackOff) -> Ended {
        // The birth repeats the will's time (4.2.3.1.2, as released).
        let since = millis();
        let stop = self.floor.stop.clone();
        let will = self.state_post(false, since);
        let opening = stop.run_until_cancelled(Connection::open(access, "host", will));
        let mut connection = match opening.await {
            Some(Ok(connection)) => connection,
            Some(Err(lost)) => return Ended::Lost(lost),
            None => return Ended::Stopped,
        };
        if let Err(ended) = self.greet(&mut connection, since).await {
            return ended;
        }
        let begun = Instant::now();
        let ended = self.listen(&mut connection, access, since).await;
        if begun.elapsed() >= STEADY {
            back_off.reset();
        }
        if matches!(ended, Ended::Stopped) {
            let _ = tokio::time::timeout(FAREWELL, self.farewell(connection)).await;
        }
        ended
    }

    /// Subscribes, then says that we are here, then asks everybody to be born (5.3).
    async fn greet(&mut self, connection: &mut Connection, since: u64) -> Result<(), Ended> {
        let stop = self.floor.stop.clone();
        connection.subscribe(self.filters()).await;
        loop {
            let heard = stop.run_until_cancelled(connection.next()).await.ok_or(Ended::Stopped)?;
            match heard.map_err(Ended::Lost)? {
                Heard::Granted(grants) => {
                    self.look_at_grants(&grants);
                    connection.publish(self.state_post(true, since)).await;
                    let deeds = self.host.connected(self.now());
                    let acted = self.act(connection, deeds).await;
                    return acted.map(drop).map_err(|Over| Ended::Stopped);
                }
                // What a broker sends before its answer to the subscription.
                Heard::Message(arrived) => connection.confirm(arrived.token).await,
                Heard::Unwanted(why) => self.unwanted(&why),
            }
        }
    }

    /// Our own state and every message of each edge node, but no commands.
    fn filters(&self) -> Vec<(String, u8)> {
        let mut filters = vec![(self.state.clone(), 1)];
        for node in self.host.nodes() {
            for kind in [Kind::Birth, Kind::Data, Kind::Death] {
                let qos = u8::from(kind == Kind::Death);
                filters.push((Topic::new(node, kind, None).to_string(), qos));
                filters.push((Topic::new(node, kind, Some("+")).to_string(), 0));
            }
        }
        filters
    }

    fn look_at_grants(&self, grants: &[Grant]) {
        for ((topic, _), grant) in self.filters().iter().zip(grants) {
            if let Grant::Refused(why) = grant {
                let why = format!("the broker refuses the subscription to {topic}: {why}");
                self.trouble(Trouble::Refused, &why);
            }
        }
    }

    fn state_post(&self, online: bool, since: u64) -> Post {
        let payload = state_payload(online, since);
        Post { topic: self.state.clone(), payload, retain: true, reply: None }
    }

    fn unwanted(&self, why: &str) {
        let why = format!("the broker does not take what the gateway publishes: {why}");
        self.trouble(Trouble::Refused, &why);
    }

    async fn listen(&mut self, connection: &mut Connection, access: &Access, since: u64) -> Ended {
        let mut wanted = self.floor.wanted.clone();
        let stop = self.floor.stop.clone();
        loop {
            let now_wanted = Arc::clone(&wanted.borrow_and_update());
            self.drive(connection, &now_wanted).await;
            let due = self
                .host
                .deadline()
                .map_or(PACE, |deadline| deadline.saturating_sub(self.begun.elapsed()).min(PACE));
            let deeds = tokio::select! {
                () = stop.cancelled() => return Ended::Stopped,
                heard = connection.next() => match heard {
                    Ok(Heard::Message(arrived)) => {
                        match self.hear(connection, access, &arrived, since).await {
                            Ok(()) => continue,
                            Err(Over) => return Ended::Stopped,
                        }
                    }
                    Ok(Heard::Unwanted(why)) => {
                        self.unwanted(&why);
                        continue;
                    }
                    Ok(Heard::Granted(_)) => continue,
                    Err(lost) => return Ended::Lost(lost),
                },
                changed = wanted.changed() => match changed {
                    Ok(()) => continue,
                    Err(_) => return Ended::Stopped,
                },
                () = tokio::time::sleep(due) => self.host.tick(self.now()),
            };
            if self.act(connection, deeds).await.is_err() {
                return Ended::Stopped;
            }
        }
    }

    async fn hear(
        &mut self,
        connection: &mut Connection,
        access: &Access,
        arrived: &Arrived,
        since: u64,
    ) -> Result<(), Over> {
        let begun = Instant::now();
        if arrived.topic == self.state {
            // Somebody, or the will of an earlier connection, says that we are gone (5.3).
            if read_state(&arrived.payload).is_some_and(|(online, _)| !online) {
                connection.publish(self.state_post(true, since)).await;
            }
        } else if let Some(topic) = Topic::parse(&arrived.topic) {
            if arrived.stored {
                let why =
                    format!("message on {topic}: it was kept by the broker, so it is not new");
                self.trouble(Trouble::Stale, &why);
            } else {
                let deeds = match arrived.too_large {
                    Some(size) => self.host.miss(&topic, size, access.largest(), self.now()),
                    None => self.host.hear(&topic, &arrived.payload, self.now()),
                };
                let about = deeds.iter().find_map(|deed| match deed {
                    Deed::Deliver(machine, _) => Some(machine.clone()),
                    _ => None,
                });
                let receipts = self.act(connection, deeds).await?;
                if arrived.token.qos > 0 {
                    self.durable(receipts).await?;
                }
                if let Some(machine) = about {
                    self.floor.observer.round(&machine, begun.elapsed());
                }
            }
        } else {
            let topic: String = arrived.topic.chars().take(100).collect();
            self.trouble(Trouble::Unmapped, &format!("{topic} is no topic of an edge node"));
        }
        connection.confirm(arrived.token).await;
        Ok(())
    }

    async fn durable(&self, receipts: Vec<Receipt>) -> Result<(), Over> {
        for receipt in receipts {
            tokio::select! {
                () = self.floor.stop.cancelled() => return Err(Over),
                durable = receipt.durable() => durable.map_err(|_| Over)?,
            };
        }
        Ok(())
    }

    /// Does what follows, in its order.
    async fn act(
        &mut self,
        connection: &mut Connection,
        deeds: Vec<Deed>,
    ) -> Result<Vec<Receipt>, Over> {
        for deed in &deeds {
            if let Deed::Ask(node) = deed {
                connection.send(&Topic::new(node, Kind::Command, None), rebirth()).await;
            }
        }
        self.deliver(deeds).await
    }

    async fn deliver(&mut self, deeds: Vec<Deed>) -> Result<Vec<Receipt>, Over> {
        let mut receipts = Vec::new();
        for deed in deeds {
            match deed {
                Deed::Ask(_) => {}
                Deed::Trouble(machine, kind, why) => {
                    self.floor.observer.trouble(&machine, kind, &why);
                }
                Deed::Deliver(machine, signals) => {
                    use stencilward_domain::signal::Said::{LinkLost, LinkUp};
                    if signals.iter().any(|s| matches!(s.said, LinkUp { .. } | LinkLost { .. })) {
                        self.outputs.forget(&machine);
                    }
                    tokio::select! {
                        () = self.floor.stop.cancelled() => return Err(Over),
                        receipt = self.floor.intake.deliver(signals) => {
                            receipts.push(receipt.map_err(|_| Over)?);
                        }
                    }
                }
            }
        }
        Ok(receipts)
    }

    async fn drive(&mut self, connection: &mut Connection, wanted: &Wanted) {
        let now = self.now();
        let observer = Arc::clone(&self.floor.observer);
        for (topic, payload) in self.outputs.compare(wanted, &self.host, now, &*observer) {
            connection.send(&topic, payload).await;
        }
    }

    /// Refuses, says that we go, and goes (5.14).
    async fn farewell(&mut self, mut connection: Connection) {
        self.drive(&mut connection, &Wanted::default()).await;
        connection.publish(self.state_post(false, millis())).await;
        connection.leave().await;
    }

    /// Counts a trouble of the whole connection once, for its first machine.
    fn trouble(&self, kind: Trouble, why: &str) {
        if let Some(machine) = &self.first {
            self.floor.observer.trouble(machine, kind, why);
        }
    }

    fn now(&self) -> Moment {
        Moment { at: now(), clock: self.begun.elapsed() }
    }
}

/// The request to be born again (5.17): by name, for the metric has no alias.
fn rebirth() -> Vec<u8> {
    let millis = millis();
    let metric = Metric::new(REBIRTH, datatype::BOOLEAN, Some(Value::Boolean(true)), millis);
    Payload { timestamp: Some(millis), metrics: vec![metric], seq: None }.bytes()
}
