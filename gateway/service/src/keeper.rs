//! The site task: the only writer. Signals, visits and the passing of time come in; what follows
//! from them becomes durable; only then do receipts, replies, metrics and outputs follow.

use std::sync::Arc;
use std::time::Duration;

use stencilward_adapters::link::{Delivery, now};
use stencilward_domain::asked::RequestKey;
use stencilward_domain::decision::Decision;
use stencilward_domain::event::{Event, Position};
use stencilward_domain::outputs::Wanted;
use stencilward_domain::site::{Correction, Replan, Reply, Site};
use stencilward_domain::time::Timestamp;
use stencilward_ledger::Owed;
use stencilward_web::{AlarmBoard, Readiness, Visit};
use tokio::sync::{mpsc, oneshot, watch};
use tokio_util::sync::CancellationToken;
use tokio_util::task::AbortOnDropHandle;

use crate::journal::{Journal, JournalError, Round, retry_wait};
use crate::metrics::{Follower, Metrics};
use crate::notices::{Notices, Told};
use crate::showing::Showing;
use crate::snapshot::{Taker, Wrong};

/// Signals at which a round takes no further delivery.
const LARGE_ROUND: usize = 2_048;

/// Time between two looks at what waits too long; also the heartbeat's pace.
const TICK: Duration = Duration::from_secs(1);

/// What the site task works with.
pub(crate) struct Keeper {
    pub(crate) site: Site,
    pub(crate) journal: Journal,
    pub(crate) follower: Follower,
    pub(crate) showing: Showing,
    pub(crate) metrics: Arc<Metrics>,
    pub(crate) readiness: Arc<Readiness>,
    pub(crate) alarms: Arc<AlarmBoard>,
    pub(crate) wanted: watch::Sender<Arc<Wanted>>,
    pub(crate) deliveries: mpsc::Receiver<Delivery>,
    pub(crate) visits: mpsc::Receiver<Visit>,
    pub(crate) replans: mpsc::Receiver<Replanned>,
    pub(crate) notices: Notices,
    /// Brokers that are owed every notice anew.
    pub(crate) forgetful: mpsc::Receiver<String>,
    /// Cancelled when what is still unwritten shall be given up.
    pub(crate) give_up: CancellationToken,
    pub(crate) beat: u64,
    pub(crate) snapshots: Taker,
    /// The check of the snapshot that the start believed, until it is done.
    pub(crate) recheck: Option<AbortOnDropHandle<Result<(), Wrong>>>,
}

/// Another configuration that shall take effect.
pub(crate) struct Replanned {
    pub(crate) replan: Replan,
    /// Who is told of it.
    pub(crate) told: Told,
    /// Answered once that is durable.
    pub(crate) done: oneshot::Sender<()>,
}

/// How the site task ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Ended {
    /// Events that could not be made durable before the deadline.
    pub(crate) unwritten: usize,
}

/// What waits for a durable write.
#[derive(Default)]
struct Waiting {
    receipts: Vec<(oneshot::Sender<Vec<Decision>>, Vec<Decision>)>,
    replies: Vec<(oneshot::Sender<Reply>, Reply)>,
    replanned: Option<oneshot::Sender<()>>,
    received: Vec<Timestamp>,
    owed: Vec<Owed>,
}

impl Waiting {
    /// Tells everybody who waits. Whoever has gone away meanwhile need not know.
    fn tell(self, metrics: &Metrics) {
        let durable = now();
        for received in self.received {
            metrics.signal_durable(durable.since(received));
        }
        for (receipt, decisions) in self.receipts {
            let _ = receipt.send(decisions);
        }
        for (reply, answer) in self.replies {
            let _ = reply.send(answer);
        }
        if let Some(done) = self.replanned {
            let _ = done.send(());
        }
    }
}

impl Keeper {
    /// Works until every intake and handle is gone, then writes the orderly end.
    ///
    /// # Errors
    /// [`JournalError`] when the ledger is not ours alone: nothing may follow from this site any
    /// more, all outputs are refused.
    pub(crate) async fn run(mut self) -> Result<Ended, JournalError> {
        let result = self.work().await;
        match result {
            Ok(Ended { unwritten: 0 }) => self.snapshots.end(&self.site, &self.follower).await,
            Ok(_) => {}
            Err(_) => self.refuse_all(),
        }
        result
    }

    async fn work(&mut self) -> Result<Ended, JournalError> {
        let mut tick = tokio::time::interval(TICK);
        tick.set_missed_tick_behavior(tokio::time::MissedTickBehavior::Skip);
        if self.settle(Waiting::default()).await? > 0 {
            return Ok(Ended { unwritten: 1 });
        }
        self.showing.show_all(&self.site, now());
        let (mut hearing, mut visited) = (true, true);
        while hearing || visited {
            let mut waiting = Waiting::default();
            let mut ticked = false;
            tokio::select! {
                delivery = self.deliveries.recv(), if hearing => match delivery {
                    Some(delivery) => self.hear_waiting(delivery, &mut waiting),
                    None => hearing = false,
                },
                visit = self.visits.recv(), if visited => match visit {
                    Some(visit) => self.receive(visit, &mut waiting).await,
                    None => visited = false,
                },
                Some(replanned) = self.replans.recv() => self.replan(replanned, &mut waiting),
                Some(broker) = self.forgetful.recv() => {
                    waiting.owed = self.notices.all(&broker, &self.site, now());
                }
                wrong = found_wrong(&mut self.recheck) => return Err(wrong.into()),
                () = self.give_up.cancelled() => break,
                _ = tick.tick() => {
                    self.beat += 1;
                    self.site.intake_filled(self.intake_filled());
                    self.site.tick(now());
                    ticked = true;
                }
            }
            let unwritten = self.settle(waiting).await?;
            if unwritten > 0 {
                return Ok(Ended { unwritten });
            }
            if ticked {
                self.showing.tick(&self.site, now());
                self.show_alarms();
            }
        }
        self.site.stop(now());
        Ok(Ended { unwritten: self.settle(Waiting::default()).await? })
    }

    /// Hears a delivery and those that wait behind it.
    fn hear_waiting(&mut self, first: Delivery, waiting: &mut Waiting) {
        let mut heard = 0;
        let mut next = Some(first);
        while let Some(delivery) = next {
            heard += delivery.signals.len();
            self.hear(delivery, waiting);
            let full = heard >= LARGE_ROUND;
            next = if full { None } else { self.deliveries.try_recv().ok() };
        }
        self.metrics.intake_waiting(self.deliveries.len());
    }

    fn hear(&mut self, delivery: Delivery, waiting: &mut Waiting) {
        let Delivery { signals, receipt } = delivery;
        let decisions = signals.iter().filter_map(|signal| self.site.hear(signal)).collect();
        waiting.received.extend(signals.first().map(|signal| signal.received));
        waiting.receipts.push((receipt, decisions));
    }

    /// What links that have ended said before is heard as it was meant.
    fn replan(&mut self, Replanned { replan, told, done }: Replanned, waiting: &mut Waiting) {
        for _ in 0..self.deliveries.max_capacity() {
            let Ok(delivery) = self.deliveries.try_recv() else { break };
            self.hear(delivery, waiting);
        }
        self.site.replan(replan, now());
        self.notices = Notices::new(told);
        waiting.replanned = Some(done);
    }

    async fn receive(&mut self, visit: Visit, waiting: &mut Waiting) {
        let (answer, reply) = match visit {
            Visit::Look(look) => return look(&self.site, now()),
            Visit::Ask { request, key, reply } => (self.site.ask_with(&request, key, now()), reply),
            Visit::AskAfter { look, key, reply } => match look(&self.site, now()) {
                Some(request) => (self.site.ask_with(&request, key, now()), reply),
                None => return,
            },
            Visit::Correct { of, correction, key, reply } => {
                (self.correct(of, &correction, key).await, reply)
            }
        };
        waiting.replies.push((reply, answer));
    }

    /// Everything recorded is durable between two visits, so the ledger has what is corrected.
    async fn correct(
        &mut self,
        of: Position,
        correction: &Correction,
        key: Option<RequestKey>,
    ) -> Reply {
        match self.journal.event(of).await {
            Ok(Some(original)) => self.site.correct_with(&original, correction, key, now()),
            Ok(None) => {
                let head = self.site.state().head;
                Reply::Refused(format!("there is no event {of}: the ledger ends at {head}"))
            }
            Err(error) => Reply::Refused(crate::chain(&error)),
        }
    }

    /// Makes what was recorded durable, then lets everything follow. Gives the number of events
    /// given up on, when the end came while the ledger took no writes.
    async fn settle(&mut self, mut waiting: Waiting) -> Result<usize, JournalError> {
        let events = self.site.take_fresh();
        let mut owed = self.notices.of(&events, &self.site, now());
        owed.append(&mut waiting.owed);
        if !events.is_empty() || !owed.is_empty() {
            let round = self.journal.prepare(events);
            if !self.write(&round, &owed).await? {
                return Ok(round.events().count());
            }
            self.follower.follow(round.events(), &self.site, now());
            self.showing.follow(round.events(), &self.site, now());
            self.snapshots.follow(&self.site, &self.follower);
            let moved = round.events().any(|event| matches!(event, Event::Alarm(_)));
            if moved || self.alarms.is_troubled() {
                self.show_alarms();
            }
        }
        if waiting.replanned.is_some() {
            self.follower.show_all(&self.site, now());
            self.showing.show_all(&self.site, now());
        }
        self.readiness.works();
        self.show_wanted(waiting.received.iter().min().copied());
        waiting.tell(&self.metrics);
        Ok(0)
    }

    /// Tries for as long as it takes; false when told to give up.
    async fn write(&self, round: &Round, owed: &[Owed]) -> Result<bool, JournalError> {
        let mut attempt = 0;
        loop {
            match self.journal.write(round, owed).await {
                Ok(()) => return Ok(true),
                Err(JournalError::Ledger(error)) => self.ledger_failed(&error, attempt),
                Err(fatal) => return Err(fatal),
            }
            tokio::select! {
                () = self.give_up.cancelled() => return Ok(false),
                () = tokio::time::sleep(retry_wait(attempt)) => attempt += 1,
            }
        }
    }

    fn ledger_failed(&self, error: &stencilward_ledger::LedgerError, attempt: u32) {
        self.metrics.ledger_failed();
        if attempt == 0 {
            let cause = crate::chain(error);
            tracing::error!(
                %cause,
                "the ledger takes no writes: all outputs refuse, links wait; free the disk or \
                 mend its mount, the gateway goes on by itself"
            );
        }
        self.readiness.troubled("the ledger takes no writes");
        let why = format!("the ledger takes no writes: {}", crate::chain(error));
        self.alarms.ledger_troubled(&why, now());
        self.metrics.alarms_stand(&self.alarms.standing());
        self.refuse_all();
    }

    fn show_alarms(&self) {
        self.alarms.show(self.site.active_alarms(now()));
        self.metrics.alarms_stand(&self.alarms.standing());
    }

    /// How full the intake is, in per cent.
    fn intake_filled(&self) -> u64 {
        let (waiting, most) = (self.deliveries.len(), self.deliveries.max_capacity().max(1));
        (waiting * 100 / most) as u64
    }

    /// Because of what was received then; none when nothing was.
    fn show_wanted(&self, received: Option<Timestamp>) {
        let now = now();
        let mut wanted = self.site.wanted(now);
        wanted.beat = self.beat;
        self.wanted.send_if_modified(|shown| {
            let changed = **shown != wanted;
            if changed {
                let since = received.map(|received| now.since(received)).unwrap_or_default();
                self.metrics.wanted_changed(shown, &wanted, since);
                *shown = Arc::new(wanted);
            }
            changed
        });
    }

    fn refuse_all(&self) {
        self.wanted.send_if_modified(|shown| {
            let mut refused = Wanted::clone(shown);
            refused.refuse_all();
            let changed = **shown != refused;
            if changed {
                *shown = Arc::new(refused);
            }
            changed
        });
    }
}

/// Ends only when the check finds that the snapshot was wrong.
async fn found_wrong(recheck: &mut Option<AbortOnDropHandle<Result<(), Wrong>>>) -> Wrong {
    if let Some(check) = recheck {
        let ended = check.await;
        *recheck = None;
        if let Ok(Err(wrong)) = ended {
            return wrong;
        }
    }
    std::future::pending().await
}

#[cfg(test)]
mod tests;
