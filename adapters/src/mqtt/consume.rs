//! The connection that takes in: persistent session, acknowledgement only after durability.
//!
//! Three tasks in a row. `listen` hears the connection and never waits for anything else;
//! `hand_in` decodes and waits while the intake is full; `acknowledge` waits for each delivery, in
//! the order of arrival, answers what was asked, and acknowledges. Each connection has tasks of
//! its own, so that an acknowledgement never outlives its connection.

use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use stencilward_domain::names::MachineName;
use stencilward_domain::signal::{Said, Signal};
use tokio::sync::mpsc;
use tokio_util::sync::CancellationToken;

use super::access::{Access, Memory};
use super::acknowledge::{Asked, Done};
use super::lost::Lost;
use super::outbox::Outbox;
use super::outputs::Heard;
use super::own_links::OwnLinks;
use super::packets::{Arrived, Token};
use super::record;
use super::router::{Router, mark_again};
use super::session::{Order, Room, Session};
use super::topic::{covers, matches};
use crate::link::{Floor, Receipt, Trouble, heard, now};

/// Messages that are delivered together at the most, when so many have arrived.
const TOGETHER: usize = 64;

/// Deliveries handed in and not durable yet.
const UNDER_WAY: usize = 64;

/// Longest wait, once told to stop, for receipts and for the broker to take the last
/// acknowledgements.
const FAREWELL: Duration = Duration::from_secs(2);

/// What a consumer works with.
pub(super) struct Consumer {
    pub(super) access: Access,
    pub(super) client: String,
    pub(super) session_expiry: Duration,
    pub(super) filters: Vec<(String, u8)>,
    pub(super) router: Router,
    /// Machines of this broker, and whether each tells of its link by itself.
    pub(super) machines: Vec<(MachineName, bool)>,
    /// What is listened to for which machine.
    pub(super) topics: Vec<(MachineName, String)>,
    pub(super) heard: Heard,
    pub(super) outbox: Outbox,
    pub(super) floor: Floor,
    /// The last that was told of the link is that it is lost.
    pub(super) lost: AtomicBool,
    pub(super) own_links: OwnLinks,
}

/// How a connection ended.
#[derive(Debug)]
pub(super) enum Ended {
    /// It was told to.
    Stopped,
    /// It broke, was refused, or never was.
    Lost { why: Lost, lasted: Option<Duration> },
}

/// What is handed in, in this order.
pub(super) enum Arrival {
    /// The connection works; `true` when the broker kept the session.
    Up(bool),
    /// The broker does not let these be heard.
    Deaf(Vec<MachineName>, String),
    /// And now it does.
    Heard(Vec<MachineName>),
    Message(Arrived, Room),
}

/// Messages to be delivered together.
#[derive(Default)]
struct Batch {
    tokens: Vec<Token>,
    signals: Vec<Signal>,
    /// What the last message asks.
    answers: Vec<Asked>,
    /// The first machine of each message that was understood, and when it was begun.
    heard: Vec<(MachineName, Instant)>,
}

impl Consumer {
    /// One connection, from the first packet to the last acknowledgement.
    pub(super) async fn connection(&self) -> Ended {
        let opening = async {
            let hello = self.access.hello(self.client.clone(), Memory::Kept)?;
            Session::open(&self.access, &hello).await
        };
        let session = tokio::select! {
            () = self.floor.stop.cancelled() => return Ended::Stopped,
            opened = opening => match opened {
                Ok(session) => session,
                Err(why) => return Ended::Lost { why, lasted: None },
            },
        };
        let begun = Instant::now();
        let orders = session.orders.clone();
        let (arrive, arrivals) = mpsc::unbounded_channel();
        let (finish, finished) = mpsc::channel(UNDER_WAY);
        let cut = CancellationToken::new();
        let listening = async {
            let ended = self.listen(session, arrive).await;
            cut.cancel();
            ended
        };
        let acknowledging = async {
            self.acknowledge(finished, &orders, &cut).await;
            // The last acknowledgements leave before this does; then `listen` ends.
            let _ = orders.send(Order::Leave).await;
        };
        let working = async {
            let handing_in = self.hand_in(arrivals, finish);
            tokio::join!(listening, handing_in, acknowledging).0
        };
        tokio::select! {
            ended = working => match ended {
                Ok(()) => Ended::Stopped,
                Err(why) => Ended::Lost { why, lasted: Some(begun.elapsed()) },
            },
            () = self.farewell() => Ended::Stopped,
        }
    }

    /// Returns when the order to stop has been obeyed for long enough.
    async fn farewell(&self) {
        self.floor.stop.cancelled().await;
        tokio::time::sleep(FAREWELL).await;
    }

    /// The machines that are listened to with this filter.
    pub(super) fn owners(&self, filter: &str) -> Vec<MachineName> {
        let heard = self.topics.iter().filter(|(_, topic)| covers(filter, topic));
        let mut owners: Vec<_> = heard.map(|(machine, _)| machine.clone()).collect();
        owners.sort();
        owners.dedup();
        owners
    }

    /// Decodes and delivers in the order of arrival, waiting while the intake is full.
    async fn hand_in(
        &self,
        mut arrivals: mpsc::UnboundedReceiver<Arrival>,
        finish: mpsc::Sender<Done>,
    ) {
        let mut arrived = Vec::with_capacity(TOGETHER);
        loop {
            let taken = tokio::select! {
                biased;
                () = self.floor.stop.cancelled() => return,
                taken = arrivals.recv_many(&mut arrived, TOGETHER) => taken,
            };
            if taken == 0 || !self.hand_in_all(&mut arrived, &finish).await {
                return;
            }
        }
    }

    /// Messages that arrived together are delivered together, but none together with what came
    /// after its question or after news of the link. False when the gateway takes no more.
    async fn hand_in_all(&self, arrived: &mut Vec<Arrival>, finish: &mpsc::Sender<Done>) -> bool {
        let mut batch = Batch::default();
        for arrival in arrived.drain(..) {
            let taken = match arrival {
                Arrival::Message(arrived, _room) => {
                    self.take_in(&arrived, &mut batch);
                    batch.answers.is_empty() || self.deliver(&mut batch, finish).await
                }
                news => self.deliver(&mut batch, finish).await && self.tell(news).await,
            };
            if !taken {
                return false;
            }
        }
        self.deliver(&mut batch, finish).await
    }

    async fn tell(&self, news: Arrival) -> bool {
        match news {
            Arrival::Up(resumed) => {
                self.lost.store(false, Ordering::Relaxed);
                return self.tell_up(resumed).await;
            }
            Arrival::Deaf(machines, why) => {
                self.tell_link(&Said::LinkLost { why }, machines.iter()).await;
            }
            Arrival::Heard(machines) => {
                self.tell_link(&Said::LinkUp { resumed: false }, machines.iter()).await;
            }
            Arrival::Message(..) => {}
        }
        true
    }

    /// Hands a batch over, if there is one, and leaves it empty.
    async fn deliver(&self, batch: &mut Batch, finish: &mpsc::Sender<Done>) -> bool {
        let Batch { tokens, signals, answers, heard } = std::mem::take(batch);
        if tokens.is_empty() {
            return true;
        }
        let mut receipt = None;
        if !signals.is_empty() {
            let Some(promised) = self.hand_over(signals).await else { return false };
            receipt = Some(promised);
        }
        for (machine, begun) in heard {
            self.floor.observer.round(&machine, begun.elapsed());
        }
        finish.send(Done { tokens, receipt, answers }).await.is_ok()
    }

    fn take_in(&self, arrived: &Arrived, batch: &mut Batch) {
        let begun = Instant::now();
        let topic = arrived.topic.as_str();
        batch.tokens.push(arrived.token);
        if let Some(size) = arrived.too_large {
            return self.tell_too_large(topic, size);
        }
        let known = self.heard.hear(arrived, &*self.floor.observer);
        let mut readings = self.router.read(topic, &arrived.payload, arrived.stored, now());
        if arrived.again {
            mark_again(&mut readings);
        }
        record::message(&*self.floor.observer, &self.router, arrived, &readings);
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
            let numbered = matches!(signal.said, Said::MessageNumbered { .. });
            (numbered || !garbled.contains(owner)) && self.own_links.is_news(signal)
        });
        batch.heard.extend(heard.first().map(|(owner, _, _)| (owner.clone(), begun)));
        for (machine, signal, answer) in heard {
            if matches!(signal.said, Said::StoreAsked { .. } | Said::TakeAsked { .. }) {
                let (topic, request) = (answer.unwrap_or_default(), signal.identity.clone());
                batch.answers.push(Asked { machine, topic, request });
            }
            batch.signals.push(signal);
        }
    }

    /// It is thrown away: kept, it would come again for ever and hold up all others.
    fn tell_too_large(&self, topic: &str, size: usize) {
        let why = format!(
            "a message of {size} bytes on {topic} is larger than largest-message ({}) and was \
             thrown away: raise it, or let the machine say less",
            self.access.largest()
        );
        let mut owners: Vec<_> =
            self.topics.iter().filter(|(_, filter)| matches(filter, topic)).collect();
        owners.dedup_by_key(|(machine, _)| machine);
        for (machine, _) in owners {
            self.floor.observer.trouble(machine, Trouble::TooLarge, &why);
        }
    }

    /// Says that the link is up, but of machines that tell by themselves only where they have;
    /// false when the gateway takes no more signals.
    async fn tell_up(&self, resumed: bool) -> bool {
        let own = self.own_links.again(resumed);
        let there =
            self.machines.iter().filter(|(name, by_itself)| !by_itself || own.contains(name));
        self.tell_link(&Said::LinkUp { resumed }, there.map(|(name, _)| name)).await
    }

    /// Says that the link is lost, unless that was the last that was said of it.
    pub(super) async fn tell_lost(&self, why: String) -> bool {
        if self.lost.swap(true, Ordering::Relaxed) {
            return true;
        }
        self.own_links.lost();
        self.heard.forget();
        let machines = self.machines.iter().map(|(name, _)| name);
        self.tell_link(&Said::LinkLost { why }, machines).await
    }

    async fn tell_link(&self, said: &Said, machines: impl Iterator<Item = &MachineName>) -> bool {
        record::link(&*self.floor.observer, said);
        let signals: Vec<_> = machines.map(|machine| heard(machine, said.clone())).collect();
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
}
