//! What a link hands what it hears to: bounded, and never waited for.

use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, AtomicU64, AtomicUsize, Ordering};
use std::sync::mpsc::{SyncSender, TrySendError};
use std::time::Duration;

use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::signal::Said;

use super::line::{Entry, Given, Line, Raw};
use crate::link::{Observer, Trouble, now};

/// Lines that may wait for the file.
pub(super) const MOST_WAITING: usize = 4_096;

/// Bytes that may wait for the file.
const MOST_BYTES: usize = 32 << 20;

/// The largest thing that is recorded, in bytes.
const LARGEST: usize = 8 << 20;

/// The tapes of the machines of one link that are recorded.
pub type Tapes = BTreeMap<MachineName, Tape>;

/// The way into one machine's recording.
pub struct Tape {
    pub(super) machine: MachineName,
    pub(super) lines: SyncSender<Vec<u8>>,
    pub(super) shared: Arc<Shared>,
    pub(super) observer: Arc<dyn Observer>,
}

/// What a tape and its writer both know.
#[derive(Debug, Default)]
pub(super) struct Shared {
    /// Bytes that wait.
    pub(super) waiting: AtomicUsize,
    /// Things that could not be handed over since the last one that was.
    pub(super) missed: AtomicU64,
    /// That there is a gap was told.
    told: AtomicBool,
    /// Nothing is written any more.
    pub(super) ended: AtomicBool,
}

impl Tape {
    /// Hands over what was heard. When too much waits it is left out, and the recording says so.
    pub fn put(&self, raw: Raw, given: Given) {
        if self.shared.ended.load(Ordering::Relaxed) {
            return;
        }
        let at = now();
        let missed = self.shared.missed.load(Ordering::Relaxed);
        if missed > 0 {
            if !self.send(gap(missed)) {
                self.miss();
                return;
            }
            self.shared.missed.store(0, Ordering::Relaxed);
        }
        if !self.send(Line::Entry(Box::new(Entry { at, raw, given })).written()) {
            self.miss();
        }
    }

    /// Hands over that the link is up or lost.
    pub(crate) fn link(&self, said: &Said) {
        let raw = match said {
            Said::LinkUp { resumed } => Raw::Up(*resumed),
            Said::LinkLost { why } => Raw::Lost(why.clone()),
            _ => return,
        };
        self.put(raw, Given::default());
    }

    /// The machine.
    pub(crate) fn machine(&self) -> &MachineName {
        &self.machine
    }

    /// True when a thing of so many bytes is recorded; one that is too large is a gap.
    pub(crate) fn takes(&self, bytes: usize) -> bool {
        let fits = bytes <= LARGEST;
        if !fits && !self.shared.ended.load(Ordering::Relaxed) {
            self.miss();
        }
        fits
    }

    fn send(&self, line: Vec<u8>) -> bool {
        let length = line.len();
        if self.shared.waiting.fetch_add(length, Ordering::Relaxed) + length <= MOST_BYTES {
            match self.lines.try_send(line) {
                // A writer that has ended has told why.
                Ok(()) | Err(TrySendError::Disconnected(_)) => return true,
                Err(TrySendError::Full(_)) => {}
            }
        }
        self.shared.waiting.fetch_sub(length, Ordering::Relaxed);
        false
    }

    fn miss(&self) {
        self.shared.missed.fetch_add(1, Ordering::Relaxed);
        if !self.shared.told.swap(true, Ordering::Relaxed) {
            let why = "the recording has gaps from here on: the disk is too slow for what the machine says, or \
                       one thing it said is too large; record to a faster disk";
            self.observer.trouble(&self.machine, Trouble::Unrecorded, why);
        }
    }
}

/// The line that says how much is missing.
pub(super) fn gap(missed: u64) -> Vec<u8> {
    let s = if missed == 1 { "" } else { "s" };
    let why = format!("{missed} thing{s} missing: too much waited to be written");
    Line::Gap { at: now(), why }.written()
}

/// An observer whose machines are recorded. All that it hears goes on to another one.
pub struct Recorder {
    observer: Arc<dyn Observer>,
    tapes: Tapes,
}

impl Recorder {
    /// With these tapes.
    #[must_use]
    pub fn new(observer: Arc<dyn Observer>, tapes: Tapes) -> Self {
        Self { observer, tapes }
    }
}

impl Observer for Recorder {
    fn trouble(&self, machine: &MachineName, kind: Trouble, detail: &str) {
        self.observer.trouble(machine, kind, detail);
    }

    fn round(&self, machine: &MachineName, took: Duration) {
        self.observer.round(machine, took);
    }

    fn output(
        &self,
        machine: &MachineName,
        output: &OutputName,
        wanted: bool,
        shown: Option<bool>,
    ) {
        self.observer.output(machine, output, wanted, shown);
    }

    fn tapes(&self) -> Option<&Tapes> {
        Some(&self.tapes)
    }
}
