//! The contract between a link and the gateway.
//!
//! A link MUST
//! - connect with back-off for ever, and say [`Said::LinkUp`] and [`Said::LinkLost`] for each of
//!   its machines when that changes, the latter also when the first attempt fails;
//! - hand over signals in the order the machine said them, waiting when the intake is full;
//! - confirm a message to its peer only after [`Receipt::durable`] has answered;
//! - count what it cannot understand with [`Observer::trouble`] and go on;
//! - write only outputs its settings name, refuse-state unless [`Wanted`] permits, compare with
//!   what it reads back, and write again when that differs;
//! - end soon after `stop` is cancelled, leaving unconfirmed what is not durable.

use std::sync::Arc;
use std::time::{Duration, SystemTime};

use async_trait::async_trait;
use stencilward_domain::alarm::ActiveAlarm;
use stencilward_domain::decision::Decision;
use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::outputs::Wanted;
use stencilward_domain::signal::{Said, Signal};
use stencilward_domain::time::Timestamp;
use tokio::sync::mpsc::error::TrySendError;
use tokio::sync::{mpsc, oneshot, watch};
use tokio_util::sync::CancellationToken;

use crate::record::Tapes;

/// A connection to one machine, or to a broker that several machines share.
#[async_trait]
pub trait Link: Send + 'static {
    /// The machines whose signals come over this link.
    fn machines(&self) -> Vec<MachineName>;

    /// Runs until `floor.stop` is cancelled or the intake is gone.
    async fn run(self: Box<Self>, floor: Floor);
}

/// What a link is given to work with.
#[derive(Clone)]
pub struct Floor {
    /// Where signals go.
    pub intake: Intake,
    /// What the outputs shall be.
    pub wanted: watch::Receiver<Arc<Wanted>>,
    /// Who hears of troubles and timings.
    pub observer: Arc<dyn Observer>,
    /// What brokers are owed; none where the link is to owe nothing.
    pub owing: Option<Arc<dyn Owing>>,
    /// The gateway's alarms; none where nobody knows them.
    pub alarms: Option<watch::Receiver<Standing>>,
    /// Cancelled when the link shall end.
    pub stop: CancellationToken,
}

impl Floor {
    /// For a link that owes and tells nothing.
    #[must_use]
    pub fn bare(
        intake: Intake,
        wanted: watch::Receiver<Arc<Wanted>>,
        observer: Arc<dyn Observer>,
        stop: CancellationToken,
    ) -> Self {
        Self { intake, wanted, observer, owing: None, alarms: None, stop }
    }
}

/// The alarms that stand.
pub type Standing = Arc<Vec<ActiveAlarm>>;

/// Signals handed over together: one message, or one round of reads.
#[derive(Debug)]
pub struct Delivery {
    /// In the order they were said.
    pub signals: Vec<Signal>,
    /// Answered once everything that follows from the signals is durable.
    pub receipt: oneshot::Sender<Vec<Decision>>,
}

/// The bounded way into the gateway.
#[derive(Debug, Clone)]
pub struct Intake(mpsc::Sender<Delivery>);

/// The gateway takes no more signals.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the gateway is stopping and takes no more signals")]
pub struct Stopping;

/// Why signals were not taken.
#[derive(Debug, Clone, PartialEq)]
pub enum NotTaken {
    /// There is no room: here they are again.
    Full(Vec<Signal>),
    /// As [`Stopping`] says.
    Stopping,
}

impl Intake {
    /// An intake that holds `capacity` deliveries, and its far end.
    #[must_use]
    pub fn bounded(capacity: usize) -> (Self, mpsc::Receiver<Delivery>) {
        let (sender, receiver) = mpsc::channel(capacity);
        (Self(sender), receiver)
    }

    /// Hands over signals, waiting while the intake is full.
    ///
    /// # Errors
    /// [`Stopping`] when nobody takes signals any more.
    pub async fn deliver(&self, signals: Vec<Signal>) -> Result<Receipt, Stopping> {
        let room = self.0.reserve().await.map_err(|_| Stopping)?;
        Ok(put(room, signals))
    }

    /// Hands over signals if there is room at once and nobody waits for it.
    ///
    /// # Errors
    /// [`NotTaken`] otherwise.
    pub fn offer(&self, signals: Vec<Signal>) -> Result<Receipt, NotTaken> {
        match self.0.try_reserve() {
            Ok(room) => Ok(put(room, signals)),
            Err(TrySendError::Full(())) => Err(NotTaken::Full(signals)),
            Err(TrySendError::Closed(())) => Err(NotTaken::Stopping),
        }
    }

    /// True when nobody takes signals any more.
    #[must_use]
    pub fn is_closed(&self) -> bool {
        self.0.is_closed()
    }

    /// Returns when nobody takes signals any more.
    pub async fn closed(&self) {
        self.0.closed().await;
    }
}

fn put(room: mpsc::Permit<'_, Delivery>, signals: Vec<Signal>) -> Receipt {
    let (receipt, answer) = oneshot::channel();
    room.send(Delivery { signals, receipt });
    Receipt(answer)
}

/// A message that is owed to a broker.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Due {
    /// Grows from one to the next.
    pub number: u64,
    /// The topic, below where the broker's notices lie.
    pub about: String,
    /// The payload.
    pub body: Vec<u8>,
    /// Whether the broker shall keep it for those who come later.
    pub retain: bool,
}

/// Messages owed to brokers, durable until they are delivered.
#[async_trait]
pub trait Owing: Send + Sync {
    /// What this broker kept may be gone: owes it every state anew.
    async fn owe_all(&self, broker: &str);

    /// Up to `limit` messages owed to this broker with numbers after `after`, in order; waits
    /// until there is one.
    async fn due(&self, broker: &str, after: u64, limit: usize) -> Vec<Due>;

    /// Forgets messages that the broker has.
    async fn delivered(&self, numbers: Vec<u64>);
}

/// The promise to say when a delivery is durable.
#[derive(Debug)]
pub struct Receipt(oneshot::Receiver<Vec<Decision>>);

impl Receipt {
    /// Waits until what follows from the delivery is durable, and gives the decisions it asked
    /// for, in the order asked.
    ///
    /// # Errors
    /// [`Stopping`] when the gateway ended before: the delivery must not be confirmed.
    pub async fn durable(mut self) -> Result<Vec<Decision>, Stopping> {
        self.answered().await
    }

    /// The same by reference: waiting for it may be given up and begun again, until it answered.
    pub(crate) async fn answered(&mut self) -> Result<Vec<Decision>, Stopping> {
        (&mut self.0).await.map_err(|_| Stopping)
    }
}

/// Kinds of trouble on a link; each is a metric label.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Trouble {
    /// The peer refused the connection, the name or the credentials.
    Refused,
    /// No answer in time.
    TimedOut,
    /// The connection broke.
    Broken,
    /// The peer answered with an error of its protocol.
    Exception,
    /// An answer that does not follow the protocol, or does not fit the question.
    Garbled,
    /// A message on a topic or of a kind that no setting covers.
    Unmapped,
    /// A payload or register that cannot be read as configured.
    Unreadable,
    /// A field that the settings name is not in the message.
    Missing,
    /// A value that can be read but makes no sense: a name too long, a number out of range.
    Senseless,
    /// A stored message that tells of a past event, not of a present state, or an answer to a
    /// command that is not the last.
    Stale,
    /// An output read back other than it was written.
    Disobeyed,
    /// More than the link can hold: it was cut and starts again.
    Flooded,
    /// The machine's recording has a gap, or has ended.
    Unrecorded,
    /// A message larger than the settings allow: it was thrown away.
    TooLarge,
    /// The peer grants less than was asked for.
    Weakened,
    /// Another client took the connection over.
    TakenOver,
}

impl Trouble {
    /// All kinds.
    pub const ALL: [Self; 16] = [
        Self::Refused,
        Self::TimedOut,
        Self::Broken,
        Self::Exception,
        Self::Garbled,
        Self::Unmapped,
        Self::Unreadable,
        Self::Missing,
        Self::Senseless,
        Self::Stale,
        Self::Disobeyed,
        Self::Flooded,
        Self::Unrecorded,
        Self::TooLarge,
        Self::Weakened,
        Self::TakenOver,
    ];

    /// The kind's stable word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Refused => "refused",
            Self::TimedOut => "timed-out",
            Self::Broken => "broken",
            Self::Exception => "exception",
            Self::Garbled => "garbled",
            Self::Unmapped => "unmapped",
            Self::Unreadable => "unreadable",
            Self::Missing => "missing",
            Self::Senseless => "senseless",
            Self::Stale => "stale",
            Self::Disobeyed => "disobeyed",
            Self::Flooded => "flooded",
            Self::Unrecorded => "unrecorded",
            Self::TooLarge => "too-large",
            Self::Weakened => "weakened",
            Self::TakenOver => "taken-over",
        }
    }
}

/// Hears what a link goes through. Called often: must be quick and never wait.
pub trait Observer: Send + Sync {
    /// Something went wrong; `detail` says what to check.
    fn trouble(&self, machine: &MachineName, kind: Trouble, detail: &str);

    /// One round of reads, or one message, was dealt with in this time.
    fn round(&self, machine: &MachineName, took: Duration);

    /// An output was compared: what was wanted, and what the machine shows, if it shows it.
    fn output(&self, machine: &MachineName, output: &OutputName, wanted: bool, shown: Option<bool>);

    /// Where what machines of this link say is recorded; none when none is.
    fn tapes(&self) -> Option<&Tapes> {
        None
    }
}

/// The present time. Adapters stamp signals with it; the domain never reads a clock.
#[must_use]
pub fn now() -> Timestamp {
    let since = SystemTime::now().duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
    Timestamp(i64::try_from(since.as_millis()).unwrap_or(i64::MAX))
}

/// Signals of one machine received now, without times or identities of its own.
#[must_use]
pub(crate) fn all_heard(machine: &MachineName, said: Vec<Said>) -> Vec<Signal> {
    let received = now();
    let signal = |said| Signal {
        machine: machine.clone(),
        received,
        machine_time: None,
        identity: None,
        said,
    };
    said.into_iter().map(signal).collect()
}

/// A signal received now, without a time or identity of the machine's own.
#[must_use]
pub fn heard(machine: &MachineName, said: Said) -> Signal {
    Signal { machine: machine.clone(), received: now(), machine_time: None, identity: None, said }
}

/// Waits between attempts to connect: doubling from `shortest` to `longest`.
#[derive(Debug, Clone)]
pub struct BackOff {
    next: Duration,
    shortest: Duration,
    longest: Duration,
}

impl BackOff {
    /// From a quarter of a second to fifteen seconds.
    #[must_use]
    pub fn for_machines() -> Self {
        let shortest = Duration::from_millis(250);
        Self { next: shortest, shortest, longest: Duration::from_secs(15) }
    }

    /// The connection worked: the next failure starts from the shortest wait.
    pub fn reset(&mut self) {
        self.next = self.shortest;
    }

    /// The wait before the next attempt.
    pub fn wait(&mut self) -> Duration {
        let wait = self.next;
        self.next = (self.next * 2).min(self.longest);
        wait
    }
}
