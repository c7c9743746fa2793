//! A connection that publishes, and says when the broker has each message.
//!
//! The client library does not tie a message to its acknowledgement, but it sends messages in the
//! order given and tells each one's packet id; that order is what ties them here. What the broker
//! has not acknowledged is sent again over the next connection.

use std::collections::{HashMap, VecDeque};
use std::time::Duration;

use rumqttc::{
    AsyncClient, ConnectionError, Event, EventLoop, MqttOptions, Outgoing, Packet, Publish, QoS,
    SubscribeFilter,
};
use tokio::sync::{mpsc, oneshot, watch};
use tokio_util::sync::CancellationToken;

use crate::link::BackOff;

/// Messages sent and not acknowledged at the most; well below the library's own limit, at which
/// it stops reading.
const IN_FLIGHT: usize = 32;

/// Messages that wait to be sent; more wait in their callers.
const QUEUE: usize = 256;

/// Events of the connection that wait to be looked at.
const EVENTS: usize = 1_024;

/// Longest wait for acknowledgements at an orderly end.
const LAST_ACKS: Duration = Duration::from_secs(2);

/// A message to publish with QoS 1.
#[derive(Debug, Clone)]
pub(super) struct Post {
    pub(super) topic: String,
    pub(super) payload: Vec<u8>,
    pub(super) retain: bool,
}

struct Job {
    post: Post,
    done: Option<oneshot::Sender<()>>,
}

/// The way into an outbox.
#[derive(Debug, Clone)]
pub(super) struct Outbox {
    jobs: mpsc::Sender<Job>,
    /// Counts connections that were made; 0 while there is none.
    connected: watch::Receiver<u64>,
}

/// What an outbox is made with.
pub(super) struct Keeping {
    pub(super) options: MqttOptions,
    pub(super) subscriptions: Vec<String>,
    /// Where messages that arrive go. What does not fit is dropped: these are states, told again.
    pub(super) arrivals: Option<mpsc::Sender<Publish>>,
    pub(super) stop: CancellationToken,
    /// Hears why a connection ended.
    pub(super) on_loss: Box<dyn Fn(&ConnectionError) + Send + Sync>,
}

impl Outbox {
    /// Starts an outbox. The task ends when `stop` is cancelled or all handles are gone, once
    /// what was handed over is acknowledged or two seconds have passed.
    pub(super) fn start(keeping: Keeping) -> (Self, tokio::task::JoinHandle<()>) {
        let (jobs, waiting) = mpsc::channel(QUEUE);
        let (shown, connected) = watch::channel(0);
        let keeper = Keeper {
            keeping,
            waiting,
            shown,
            connections: 0,
            unsent: VecDeque::new(),
            unnamed: VecDeque::new(),
            named: HashMap::new(),
        };
        (Self { jobs, connected }, tokio::spawn(keeper.run()))
    }

    /// Publishes, and returns once the broker has it; false when the outbox ended before.
    pub(super) async fn publish(&self, post: Post) -> bool {
        let (done, acknowledged) = oneshot::channel();
        let job = Job { post, done: Some(done) };
        self.jobs.send(job).await.is_ok() && acknowledged.await.is_ok()
    }

    /// Hands over without waiting for the broker; false when the outbox has ended.
    pub(super) async fn hand_over(&self, post: Post) -> bool {
        self.jobs.send(Job { post, done: None }).await.is_ok()
    }

    /// The number of the present connection; 0 while there is none.
    pub(super) fn connected(&self) -> watch::Receiver<u64> {
        self.connected.clone()
    }
}

struct Keeper {
    keeping: Keeping,
    waiting: mpsc::Receiver<Job>,
    shown: watch::Sender<u64>,
    connections: u64,
    /// Not given to the present connection yet.
    unsent: VecDeque<Job>,
    /// Given to it, its packet id not told yet.
    unnamed: VecDeque<Job>,
    /// On its way under this packet id.
    named: HashMap<u16, (u64, Job)>,
}

enum Ended {
    Lost(ConnectionError),
    Stopped,
}

impl Keeper {
    async fn run(mut self) {
        let mut back_off = BackOff::for_machines();
        loop {
            match self.connection(&mut back_off).await {
                Ended::Stopped => return,
                Ended::Lost(error) => (self.keeping.on_loss)(&error),
            }
            self.shown.send_replace(0);
            self.take_back();
            if self.wait(back_off.wait()).await {
                return;
            }
        }
    }

    /// Waits before the next attempt; true when there is nothing to wait for any more.
    async fn wait(&mut self, span: Duration) -> bool {
        let over = tokio::time::sleep(span);
        tokio::pin!(over);
        loop {
            tokio::select! {
                () = self.keeping.stop.cancelled() => return true,
                () = &mut over => return false,
                job = self.waiting.recv(), if self.unsent.len() < QUEUE => match job {
                    Some(job) => self.unsent.push_back(job),
                    None => return true,
                },
            }
        }
    }

    /// What the lost connection had not acknowledged comes first over the next one; but not a
    /// message that nobody waits for, or no longer: an answer would come too late, and a state is
    /// told anew; an old permission must not come before a new refusal.
    fn take_back(&mut self) {
        let mut named: Vec<(u64, Job)> = self.named.drain().map(|(_, named)| named).collect();
        named.sort_by_key(|(order, _)| *order);
        for job in self.unnamed.drain(..).rev() {
            self.unsent.push_front(job);
        }
        for (_, job) in named.into_iter().rev() {
            self.unsent.push_front(job);
        }
        self.unsent.retain(|job| job.done.as_ref().is_some_and(|done| !done.is_closed()));
    }

    async fn connection(&mut self, back_off: &mut BackOff) -> Ended {
        let (client, event_loop) = AsyncClient::new(self.keeping.options.clone(), QUEUE);
        let (tell, mut events) = mpsc::channel(EVENTS);
        let polling = tokio::spawn(poll(event_loop, tell));
        let mut order = 0;
        let mut ready = false;
        let stop = self.keeping.stop.clone();
        let ended = loop {
            while ready && self.in_flight() < IN_FLIGHT && self.give_next(&client) {}
            tokio::select! {
                () = stop.cancelled() => break Ended::Stopped,
                event = events.recv() => match event {
                    Some(Ok(event)) => {
                        if self.hear(event, &client, &mut order) {
                            ready = true;
                            back_off.reset();
                        }
                    }
                    Some(Err(error)) => break Ended::Lost(error),
                    None => break Ended::Lost(ConnectionError::RequestsDone),
                },
                job = self.waiting.recv(), if self.unsent.len() < QUEUE => match job {
                    Some(job) => self.unsent.push_back(job),
                    None => break Ended::Stopped,
                },
            }
        };
        if matches!(ended, Ended::Stopped) {
            let finish = self.finish(&client, &mut events, ready, order);
            let _ = tokio::time::timeout(LAST_ACKS, finish).await;
        }
        polling.abort();
        ended
    }

    /// Sends what was handed over and waits for the broker, then takes leave of it.
    async fn finish(
        &mut self,
        client: &AsyncClient,
        events: &mut mpsc::Receiver<Result<Event, ConnectionError>>,
        ready: bool,
        mut order: u64,
    ) {
        // A broker that has not let us in cannot take anything, not even leave.
        if !ready {
            return;
        }
        while let Ok(job) = self.waiting.try_recv() {
            self.unsent.push_back(job);
        }
        while self.in_flight() > 0 || !self.unsent.is_empty() {
            while self.in_flight() < IN_FLIGHT && self.give_next(client) {}
            match events.recv().await {
                Some(Ok(event)) => self.hear(event, client, &mut order),
                _ => return,
            };
        }
        if client.try_disconnect().is_ok() {
            while let Some(Ok(_)) = events.recv().await {}
        }
    }

    fn in_flight(&self) -> usize {
        self.unnamed.len() + self.named.len()
    }

    fn give_next(&mut self, client: &AsyncClient) -> bool {
        let Some(job) = self.unsent.pop_front() else {
            return false;
        };
        let Post { topic, payload, retain } = job.post.clone();
        if client.try_publish(topic, QoS::AtLeastOnce, retain, payload).is_err() {
            self.unsent.push_front(job);
            return false;
        }
        self.unnamed.push_back(job);
        true
    }

    /// Takes note of an event; true when the connection is ready for messages.
    fn hear(&mut self, event: Event, client: &AsyncClient, order: &mut u64) -> bool {
        match event {
            Event::Incoming(Packet::ConnAck(_)) => {
                let filters = self.keeping.subscriptions.iter();
                let filters: Vec<_> = filters
                    .map(|topic| SubscribeFilter::new(topic.clone(), QoS::AtLeastOnce))
                    .collect();
                if filters.is_empty() {
                    return self.ready();
                }
                if client.try_subscribe_many(filters).is_err() {
                    tracing::debug!("the client takes no subscription");
                }
                false
            }
            Event::Incoming(Packet::SubAck(_)) => self.ready(),
            Event::Outgoing(Outgoing::Publish(id)) => {
                if let Some(job) = self.unnamed.pop_front() {
                    *order += 1;
                    self.named.insert(id, (*order, job));
                }
                false
            }
            Event::Incoming(Packet::PubAck(ack)) => {
                let job = self.named.remove(&ack.pkid).map(|(_, job)| job);
                if let Some(done) = job.and_then(|job| job.done) {
                    // Who no longer waits has given up on the message, not we.
                    let _ = done.send(());
                }
                false
            }
            Event::Incoming(Packet::Publish(publish)) => {
                if let Some(arrivals) = &self.keeping.arrivals
                    && arrivals.try_send(publish).is_err()
                {
                    tracing::debug!("a message that arrived did not fit");
                }
                false
            }
            _ => false,
        }
    }

    fn ready(&mut self) -> bool {
        self.connections += 1;
        self.shown.send_replace(self.connections);
        true
    }
}

async fn poll(mut event_loop: EventLoop, tell: mpsc::Sender<Result<Event, ConnectionError>>) {
    loop {
        let event = event_loop.poll().await;
        let over = event.is_err();
        if tell.send(event).await.is_err() || over {
            return;
        }
    }
}
