//! The connection that takes in: persistent session, acknowledgement only after durability.
//!
//! Three tasks in a row. `listen` polls the network and never waits for anything else; `hand_in`
//! decodes and waits while the intake is full; `acknowledge` waits for each delivery, in the
//! order of arrival, answers what was asked, and acknowledges. Every connection has a client of
//! its own, so that an acknowledgement never outlives its connection.

use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use rumqttc::{
    AsyncClient, ConnectionError, Event, EventLoop, MqttOptions, Packet, Publish, QoS,
    SubscribeFilter, SubscribeReasonCode,
};
use stencilward_domain::names::MachineName;
use stencilward_domain::signal::{Said, Signal};
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::acknowledge::{Asked, Done};
use super::listen::{BACKLOG, BACKLOG_BYTES, Backlog, expect_releases, poll};
use super::outbox::Outbox;
use super::outputs::ReadBacks;
use super::own_links::OwnLinks;
use super::record;
use super::router::Router;
use crate::link::{Floor, Receipt, Trouble, heard, now};

/// Acknowledgements wait here, and must never be refused for want of room: a broker may send its
/// whole backlog before it reads one.
const REQUESTS: usize = 200_000;

/// Deliveries handed in and not durable yet.
const UNDER_WAY: usize = 4_096;

/// Longest wait, once told to stop, for receipts and for the broker to take the last
/// acknowledgements.
const FAREWELL: Duration = Duration::from_secs(2);

/// What a consumer works with.
pub(super) struct Consumer {
    pub(super) options: MqttOptions,
    pub(super) filters: Vec<(String, QoS)>,
    pub(super) router: Router,
    /// Machines of this broker, and whether each tells of its link by itself.
    pub(super) machines: Vec<(MachineName, bool)>,
    pub(super) read_backs: Arc<ReadBacks>,
    pub(super) outbox: Outbox,
    pub(super) floor: Floor,
    /// The last that was told of the link is that it is lost.
    pub(super) lost: AtomicBool,
    pub(super) own_links: OwnLinks,
}

/// Why a connection ended.
#[derive(Debug)]
pub(super) enum Ended {
    /// It was told to.
    Stopped,
    /// It broke, was refused, or was cut.
    Lost(Trouble, String),
}

enum Arrival {
    /// The connection works; `true` when the broker kept the session.
    Up(bool),
    Message(Publish),
}

/// What listening shares with the other two tasks.
struct Wire<'a> {
    client: &'a AsyncClient,
    backlog: &'a Backlog,
    /// The broker has let this connection in.
    connected: &'a AtomicBool,
}

impl Consumer {
    /// One connection, from the first packet to the last acknowledgement. `works` is told once
    /// it is up.
    pub(super) async fn connection(&self, works: impl FnOnce()) -> Ended {
        let (client, mut event_loop) = AsyncClient::new(self.options.clone(), REQUESTS);
        if self.filters.iter().any(|(_, qos)| *qos == QoS::ExactlyOnce) {
            expect_releases(&mut event_loop);
        }
        let (arrive, arrivals) = mpsc::unbounded_channel();
        let (finish, finished) = mpsc::channel(UNDER_WAY);
        let backlog = Backlog::default();
        let connected = AtomicBool::new(false);
        let wire = Wire { client: &client, backlog: &backlog, connected: &connected };
        let cut = CancellationToken::new();
        let listening = async {
            let ended = self.listen(event_loop, wire, arrive, works).await;
            cut.cancel();
            ended
        };
        let handing_in = self.hand_in(arrivals, finish, &backlog);
        let acknowledging = self.acknowledge(finished, &client, &cut);
        let working = async {
            let (ended, (), ()) = tokio::join!(listening, handing_in, async {
                acknowledging.await;
                // The last acknowledgements leave before this does; then `listen` ends.
                let _ = client.try_disconnect();
            });
            ended
        };
        tokio::select! {
            ended = working => ended,
            () = self.farewell(&connected) => Ended::Stopped,
        }
    }

    /// Returns when the order to stop has been obeyed for long enough.
    async fn farewell(&self, connected: &AtomicBool) {
        self.floor.stop.cancelled().await;
        if connected.load(Ordering::Relaxed) {
            tokio::time::sleep(FAREWELL).await;
        }
    }

    /// Polls until the connection ends. Told to stop, it takes in nothing more and goes on
    /// polling until the acknowledgements under way have left.
    async fn listen(
        &self,
        event_loop: EventLoop,
        wire: Wire<'_>,
        arrive: mpsc::UnboundedSender<Arrival>,
        works: impl FnOnce(),
    ) -> Ended {
        let (mut events, _polling) = poll(event_loop);
        let mut arrive = Some(arrive);
        let mut works = Some(works);
        let mut resumed = false;
        loop {
            let event = tokio::select! {
                biased;
                () = self.floor.stop.cancelled(), if arrive.is_some() => {
                    arrive = None;
                    continue;
                }
                event = events.recv() => event,
            };
            match event {
                None => return Ended::Lost(Trouble::Broken, "the connection is gone".to_owned()),
                Some(Err(_)) if arrive.is_none() => return Ended::Stopped,
                Some(Err(error)) => return self.lost(&error),
                Some(Ok(Event::Incoming(Packet::ConnAck(ack)))) => {
                    resumed = ack.session_present;
                    wire.connected.store(true, Ordering::Relaxed);
                    if !self.filters.is_empty()
                        && wire.client.try_subscribe_many(self.subscriptions()).is_err()
                    {
                        return Ended::Lost(
                            Trouble::Broken,
                            "no subscription could be sent".into(),
                        );
                    }
                    if resumed || self.filters.is_empty() {
                        send(arrive.as_ref(), Arrival::Up(resumed));
                    }
                    if self.filters.is_empty()
                        && let Some(works) = works.take()
                    {
                        works();
                    }
                }
                Some(Ok(Event::Incoming(Packet::SubAck(ack)))) => {
                    self.look_at_grants(&ack.return_codes);
                    if !resumed {
                        send(arrive.as_ref(), Arrival::Up(false));
                    }
                    if let Some(works) = works.take() {
                        works();
                    }
                }
                Some(Ok(Event::Incoming(Packet::Publish(publish)))) => {
                    if arrive.is_some() && wire.backlog.take(&publish) {
                        send(arrive.as_ref(), Arrival::Message(publish));
                    } else if arrive.is_some() {
                        return Ended::Lost(
                            Trouble::Flooded,
                            format!(
                                "more than {BACKLOG} messages or {} MiB wait to be dealt with; \
                                 the broker keeps the rest until these are through",
                                BACKLOG_BYTES >> 20
                            ),
                        );
                    }
                }
                Some(Ok(_)) => {}
            }
        }
    }

    fn subscriptions(&self) -> Vec<SubscribeFilter> {
        self.filters.iter().map(|(topic, qos)| SubscribeFilter::new(topic.clone(), *qos)).collect()
    }

    fn look_at_grants(&self, codes: &[SubscribeReasonCode]) {
        for ((topic, _), code) in self.filters.iter().zip(codes) {
            if *code == SubscribeReasonCode::Failure {
                let why = format!(
                    "the broker refuses the subscription to {topic}: let its access list allow \
                     this client to read it"
                );
                self.trouble(Trouble::Refused, &why);
            }
        }
    }

    /// Decodes and delivers in the order of arrival, waiting while the intake is full.
    async fn hand_in(
        &self,
        mut arrivals: mpsc::UnboundedReceiver<Arrival>,
        finish: mpsc::Sender<Done>,
        backlog: &Backlog,
    ) {
        loop {
            let arrival = tokio::select! {
                biased;
                () = self.floor.stop.cancelled() => return,
                arrival = arrivals.recv() => match arrival {
                    Some(arrival) => arrival,
                    None => return,
                },
            };
            let done = match arrival {
                Arrival::Up(resumed) => {
                    self.lost.store(false, Ordering::Relaxed);
                    if !self.tell_up(resumed).await {
                        return;
                    }
                    continue;
                }
                Arrival::Message(publish) => {
                    backlog.give_back(&publish);
                    match self.deliver(publish).await {
                        Some(done) => done,
                        None => return,
                    }
                }
            };
            if finish.send(done).await.is_err() {
                return;
            }
        }
    }

    async fn deliver(&self, mut publish: Publish) -> Option<Done> {
        let begun = Instant::now();
        let topic = publish.topic.as_str();
        let known = self.read_backs.hear(topic, &publish.payload);
        let readings = self.router.read(topic, &publish.payload, publish.retain, now());
        record::message(&*self.floor.observer, &self.router, &publish, &readings);
        if readings.is_empty() && !known && !self.router.knows(topic) {
            self.trouble(Trouble::Unmapped, &format!("no setting has the topic {topic}"));
        }
        let (mut heard, mut garbled) = (Vec::new(), Vec::new());
        for reading in readings {
            match reading.signal {
                Ok(signal) => heard.push((reading.machine, signal, reading.answer)),
                Err((kind, why)) => {
                    let why = format!("message on {topic}: {why}");
                    self.floor.observer.trouble(&reading.machine, kind, &why);
                    // What is only too old to count takes nothing from a state told with it.
                    if kind != Trouble::Stale {
                        garbled.push(reading.machine);
                    }
                }
            }
        }
        heard.retain(|(owner, signal, _)| {
            !garbled.contains(owner) && self.own_links.is_news(signal)
        });
        // Only the packet id is needed from here on; the payload would be held until durable.
        publish.payload.clear();
        let Some(machine) = heard.first().map(|(owner, _, _)| owner.clone()) else {
            return Some(Done { publish, receipt: None, answers: Vec::new() });
        };
        let (mut signals, mut answers) = (Vec::new(), Vec::new());
        for (_, signal, answer) in heard {
            if matches!(signal.said, Said::StoreAsked { .. } | Said::TakeAsked { .. }) {
                let topic = answer.unwrap_or_default();
                answers.push(Asked { topic, request: signal.identity.clone() });
            }
            signals.push(signal);
        }
        let receipt = self.hand_over(signals).await?;
        self.floor.observer.round(&machine, begun.elapsed());
        Some(Done { publish, receipt: Some(receipt), answers })
    }

    /// Says that the link is up, but of machines that tell by themselves only where they have;
    /// false when the gateway takes no more signals.
    async fn tell_up(&self, resumed: bool) -> bool {
        let own = self.own_links.again(resumed);
        let there =
            self.machines.iter().filter(|(name, by_itself)| !by_itself || own.contains(name));
        self.tell_link(&Said::LinkUp { resumed }, there).await
    }

    /// Says that the link is lost, unless that was the last that was said of it.
    pub(super) async fn tell_lost(&self, why: String) -> bool {
        if self.lost.swap(true, Ordering::Relaxed) {
            return true;
        }
        self.own_links.lost();
        self.tell_link(&Said::LinkLost { why }, self.machines.iter()).await
    }

    async fn tell_link(
        &self,
        said: &Said,
        machines: impl Iterator<Item = &(MachineName, bool)>,
    ) -> bool {
        record::link(&*self.floor.observer, said);
        let signals: Vec<_> = machines.map(|(machine, _)| heard(machine, said.clone())).collect();
        signals.is_empty() || self.hand_over(signals).await.is_some()
    }

    /// Hands signals over, waiting while the intake is full; none when there is no use in
    /// waiting any more.
    async fn hand_over(&self, signals: Vec<Signal>) -> Option<Receipt> {
        tokio::select! {
            biased;
            () = self.floor.stop.cancelled() => None,
            receipt = self.floor.intake.deliver(signals) => receipt.ok(),
        }
    }

    /// Counts a trouble of the whole connection once, for its first machine.
    pub(super) fn trouble(&self, kind: Trouble, why: &str) {
        if let Some((machine, _)) = self.machines.first() {
            self.floor.observer.trouble(machine, kind, why);
        }
    }

    fn lost(&self, error: &ConnectionError) -> Ended {
        let (kind, why) = super::link::explain(error, self.options.max_packet_size());
        Ended::Lost(kind, why)
    }
}

fn send(arrive: Option<&mpsc::UnboundedSender<Arrival>>, arrival: Arrival) {
    if let Some(arrive) = arrive {
        // The receiver is gone only when the gateway takes no more signals.
        let _ = arrive.send(arrival);
    }
}
