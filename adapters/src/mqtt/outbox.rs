//! A connection that publishes, and says when the broker has each message.
//!
//! What the broker has not confirmed is sent again over the next connection, where somebody still
//! waits for it.

use std::collections::{HashMap, VecDeque};
use std::time::Duration;

use tokio::sync::{mpsc, oneshot, watch};
use tokio_util::sync::CancellationToken;

use super::access::{Access, Memory};
use super::lost::Lost;
use super::packets::{Arrived, Post};
use super::session::{Incident, Order, Session};
use crate::link::BackOff;

/// Messages sent and not confirmed at the most.
const IN_FLIGHT: usize = 32;

/// Messages that wait to be sent; more wait in their callers.
const QUEUE: usize = 256;

/// The id of the one subscription; messages have those above it.
const SUBSCRIPTION: u16 = 1;

/// Longest wait for the answer to it.
const SUBSCRIBING: Duration = Duration::from_secs(10);

/// Longest wait for acknowledgements at an orderly end.
const LAST_ACKS: Duration = Duration::from_secs(2);

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
    pub(super) access: Access,
    pub(super) client: String,
    pub(super) memory: Memory,
    /// What the broker shall publish when the connection ends without leave.
    pub(super) will: Option<Post>,
    pub(super) subscriptions: Vec<String>,
    /// Where messages that arrive go. What does not fit is dropped: these are states, told again.
    pub(super) arrivals: Option<mpsc::Sender<Arrived>>,
    pub(super) stop: CancellationToken,
    /// Hears why a connection ended, or why the broker did not take a message.
    pub(super) on_trouble: Box<dyn Fn(Woe<'_>) + Send + Sync>,
}

/// What can go wrong with publishing.
pub(super) enum Woe<'a> {
    Lost(&'a Lost),
    /// The broker does not take messages on this topic; why.
    Unwanted(&'a str, &'a str),
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
            under_way: HashMap::new(),
            given: 0,
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
    /// On its way under this packet id, and the how-manieth it was.
    under_way: HashMap<u16, (u64, Job)>,
    given: u64,
}

enum Ended {
    Lost(Lost),
    Stopped,
}

impl Keeper {
    async fn run(mut self) {
        let mut back_off = BackOff::for_machines();
        loop {
            match self.connection(&mut back_off).await {
                Ended::Stopped => return,
                Ended::Lost(lost) => (self.keeping.on_trouble)(Woe::Lost(&lost)),
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
        let mut under_way: Vec<(u64, Job)> = self.under_way.drain().map(|(_, job)| job).collect();
        under_way.sort_by_key(|(given, _)| *given);
        for (_, job) in under_way.into_iter().rev() {
            self.unsent.push_front(job);
        }
        self.unsent.retain(|job| job.done.as_ref().is_some_and(|done| !done.is_closed()));
    }

    async fn connection(&mut self, back_off: &mut BackOff) -> Ended {
        let opening = async {
            let keeping = &self.keeping;
            let mut hello = keeping.access.hello(keeping.client.clone(), keeping.memory)?;
            hello.will.clone_from(&keeping.will);
            Session::open(&keeping.access, &hello).await
        };
        let mut session = tokio::select! {
            () = self.keeping.stop.cancelled() => return Ended::Stopped,
            opened = opening => match opened {
                Ok(session) => session,
                Err(lost) => return Ended::Lost(lost),
            },
        };
        if let Err(lost) = self.subscribe(&mut session).await {
            return Ended::Lost(lost);
        }
        self.connections += 1;
        self.shown.send_replace(self.connections);
        let begun = tokio::time::Instant::now();
        let ended = self.work(&mut session).await;
        if begun.elapsed() >= super::STEADY {
            back_off.reset();
        }
        ended
    }

    /// Subscribes, where anything is listened to, and waits until that is granted.
    async fn subscribe(&mut self, session: &mut Session) -> Result<(), Lost> {
        let topics = self.keeping.subscriptions.iter();
        let filters: Vec<_> = topics.map(|topic| (topic.clone(), 1)).collect();
        if filters.is_empty() {
            return Ok(());
        }
        // A connection that is gone tells so itself.
        let _ = session.orders.send(Order::Subscribe(SUBSCRIPTION, filters)).await;
        let granted = async {
            loop {
                match session.incidents.recv().await {
                    Some(Ok(Incident::Granted { .. })) => return Ok(()),
                    Some(Ok(incident)) => self.hear(incident, &session.orders).await,
                    Some(Err(lost)) => return Err(lost),
                    None => return Err(Lost::Broken(None)),
                }
            }
        };
        let answered = tokio::time::timeout(SUBSCRIBING, granted).await;
        answered.map_err(|_| Lost::Late("a subscription"))?
    }

    async fn work(&mut self, session: &mut Session) -> Ended {
        let most = IN_FLIGHT.min(usize::from(session.welcome.receive_maximum));
        let stop = self.keeping.stop.clone();
        let ended = loop {
            self.give(session, most).await;
            tokio::select! {
                () = stop.cancelled() => break Ended::Stopped,
                incident = session.incidents.recv() => match incident {
                    Some(Ok(incident)) => self.hear(incident, &session.orders).await,
                    Some(Err(lost)) => break Ended::Lost(lost),
                    None => break Ended::Lost(Lost::Broken(None)),
                },
                job = self.waiting.recv(), if self.unsent.len() < QUEUE => match job {
                    Some(job) => self.unsent.push_back(job),
                    None => break Ended::Stopped,
                },
            }
        };
        if matches!(ended, Ended::Stopped) {
            let _ = tokio::time::timeout(LAST_ACKS, self.finish(session, most)).await;
        }
        ended
    }

    /// Sends what was handed over and waits for the broker, then takes leave of it.
    async fn finish(&mut self, session: &mut Session, most: usize) {
        while let Ok(job) = self.waiting.try_recv() {
            self.unsent.push_back(job);
        }
        while !self.under_way.is_empty() || !self.unsent.is_empty() {
            self.give(session, most).await;
            match session.incidents.recv().await {
                Some(Ok(incident)) => self.hear(incident, &session.orders).await,
                _ => return,
            }
        }
        if session.orders.send(Order::Leave).await.is_ok() {
            while let Some(Ok(_)) = session.incidents.recv().await {}
        }
    }

    /// Gives the connection as many messages as may be under way.
    async fn give(&mut self, session: &Session, most: usize) {
        while self.under_way.len() < most
            && let Some(job) = self.unsent.pop_front()
        {
            self.given += 1;
            let id = self.free_id();
            // A connection that is gone tells so itself.
            let _ = session.orders.send(Order::Publish(id, job.post.clone())).await;
            self.under_way.insert(id, (self.given, job));
        }
    }

    /// An id that nothing under way has; there are far more than may be under way.
    fn free_id(&self) -> u16 {
        let above = u64::from(u16::MAX - SUBSCRIPTION);
        let nth = |at: u64| u16::try_from(at % above).unwrap_or(0) + SUBSCRIPTION + 1;
        let ids = (self.given..).map(nth);
        ids.take(usize::from(u16::MAX)).find(|id| !self.under_way.contains_key(id)).unwrap_or(2)
    }

    async fn hear(&mut self, incident: Incident, orders: &mpsc::Sender<Order>) {
        match incident {
            Incident::Confirmed { id, refusal } => {
                let Some((_, job)) = self.under_way.remove(&id) else { return };
                match (refusal, job.done) {
                    (Some(why), _) => {
                        (self.keeping.on_trouble)(Woe::Unwanted(&job.post.topic, &why));
                    }
                    (None, Some(done)) => {
                        // Who no longer waits has given up on the message, not we.
                        let _ = done.send(());
                    }
                    (None, None) => {}
                }
            }
            Incident::Message(arrived, _) => {
                let _ = orders.send(Order::Acknowledge(vec![arrived.token])).await;
                if let Some(arrivals) = &self.keeping.arrivals
                    && arrivals.try_send(arrived).is_err()
                {
                    tracing::debug!("a message that arrived did not fit");
                }
            }
            Incident::Granted { .. } => {}
        }
    }
}
