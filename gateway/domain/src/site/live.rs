//! What is known of a machine only while the gateway runs: never durable, never decisive alone.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use crate::counter::{SLACK, possible};
use crate::names::{CounterName, SlotName};
use crate::signal::{Reading, Signal};
use crate::time::Timestamp;

/// Longest time for which a reporting machine's unused strokes are remembered.
const LONGEST_CREDIT: Duration = Duration::from_secs(24 * 3_600);

/// Whether everything the machine said has been heard.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub(super) enum Continuity {
    /// Yes.
    #[default]
    Sure,
    /// Something may have been missed since then.
    Broken { since: Timestamp },
}

/// A value that the counter should not show.
#[derive(Debug, Clone, Copy)]
pub(super) struct Doubt {
    pub(super) raw: u64,
    pub(super) at: Timestamp,
    pub(super) reads: u8,
    pub(super) noted: Timestamp,
}

/// The recent past of a counter.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Watch {
    read: Option<Timestamp>,
    /// Time between the last two reads that counted.
    gap: Duration,
    credit: Duration,
    /// Strokes at the last read that told of some.
    lot: u64,
    pub(super) doubt: Option<Doubt>,
}

impl Watch {
    /// When the counter was last read while the gateway ran.
    pub(super) fn last_read(&self) -> Option<Timestamp> {
        self.read
    }

    /// When the clock was put back, the time since the last read is taken to be what it was
    /// between the two before.
    pub(super) fn follow_clock(&mut self, at: Timestamp) {
        if self.read.is_some_and(|read| at < read) {
            self.read = Some(at.minus(self.gap));
        }
    }

    /// Strokes possible at this read, and those possible by way of zero. A polled counter has had
    /// the time since its last read; a reporting machine's messages may have waited at the broker,
    /// so unused time adds up. Unless some were missed it has told of every lot, and zero lies no
    /// further away than one.
    pub(super) fn possible(
        &self,
        (at, fixed): (Timestamp, Timestamp),
        reading: Reading,
        missed: bool,
        fastest_cycle: Duration,
    ) -> (u64, u64) {
        let span = at.since(self.read.unwrap_or(fixed));
        let since_read = possible(span, fastest_cycle);
        match reading {
            Reading::Polled => (since_read, since_read),
            Reading::Reported | Reading::ReportedAgain => {
                let waited = (self.credit + span).min(LONGEST_CREDIT);
                let past_zero = if missed { since_read } else { self.lot.max(SLACK) };
                (possible(waited, fastest_cycle), past_zero)
            }
        }
    }

    /// The read counted: its time and strokes are used.
    pub(super) fn counted(
        &mut self,
        at: Timestamp,
        fixed: Timestamp,
        count: u64,
        fastest_cycle: Duration,
    ) {
        let used = fastest_cycle.saturating_mul(u32::try_from(count).unwrap_or(u32::MAX));
        if count > 0 {
            self.lot = count;
        }
        let span = at.since(self.read.unwrap_or(fixed));
        self.credit = (self.credit + span).min(LONGEST_CREDIT).saturating_sub(used);
        self.gap = self.read.map_or(Duration::ZERO, |read| at.since(read));
        self.read = Some(at);
        self.doubt = None;
    }
}

#[derive(Debug, Clone, Default)]
pub(super) struct Live {
    pub(super) continuity: Continuity,
    /// When the machine was last heard, or a scan last told what is in it.
    pub(super) last_heard: Timestamp,
    /// When the machine itself was last heard.
    spoke: Timestamp,
    /// True when everything had been heard before the link was lost.
    was_sure: bool,
    /// When the machine was last heard before its link came up.
    pub(super) heard_before: Timestamp,
    /// When the link, or the gateway, last stopped hearing it.
    pub(super) broke: Option<Timestamp>,
    /// True when messages may have waited while the link was down.
    pub(super) resumed: bool,
    /// When the link last came up; none while it is down.
    pub(super) up_since: Option<Timestamp>,
    /// Reads that wait until the machine names its stencil.
    pub(super) held: BTreeMap<CounterName, Signal>,
    pub(super) watches: BTreeMap<CounterName, Watch>,
    /// Counters of a machine that was found empty, as it was thought to be, after nobody watched
    /// it: no event says that their next strokes may be those of a stencil that came and went.
    pub(super) gaps: BTreeSet<CounterName>,
    /// When each kind of signal was last heard.
    pub(super) kinds: BTreeMap<&'static str, Timestamp>,
    /// Slots the rack showed empty.
    pub(super) seen_empty: BTreeSet<SlotName>,
}

impl Live {
    /// Nothing was heard from `since` until the gateway started again. `unconfirmed`: even
    /// before, nobody knew for certain what was in the machine.
    pub(super) fn after_restart(since: Timestamp, now: Timestamp, unconfirmed: bool) -> Self {
        let broken = if unconfirmed { Timestamp(i64::MIN) } else { since };
        Self {
            continuity: Continuity::Broken { since: broken },
            was_sure: !unconfirmed,
            last_heard: since,
            spoke: since,
            up_since: Some(now),
            broke: Some(now),
            ..Self::default()
        }
    }

    /// True when the link was down, or the gateway, since the counter was last read.
    pub(super) fn missed_since(&self, read: Option<Timestamp>) -> bool {
        self.broke.is_some_and(|broke| read.is_none_or(|read| broke >= read))
    }

    pub(super) fn heard(&mut self, kind: &'static str, at: Timestamp) {
        self.kinds.insert(kind, at);
        self.last_heard = at;
        self.spoke = at;
    }

    /// The link is up. `resumed`: nothing said meanwhile is lost; where the machine also names its
    /// stencil, what is in it is as certain as before.
    pub(super) fn up(&mut self, at: Timestamp, resumed: bool, names_stencil: bool) {
        self.broke = Some(at);
        self.up_since = Some(at);
        self.heard_before = self.spoke;
        self.resumed = resumed;
        match (resumed && names_stencil, self.continuity) {
            (true, Continuity::Broken { .. }) if self.was_sure => {
                self.continuity = Continuity::Sure;
            }
            (false, Continuity::Sure) => {
                self.continuity = Continuity::Broken { since: self.last_heard };
            }
            (_, Continuity::Broken { .. }) | (true, Continuity::Sure) => {}
        }
        self.was_sure = self.continuity == Continuity::Sure;
    }

    /// The link was lost. Until then everything was heard, however quiet the machine was.
    pub(super) fn lost(&mut self, at: Timestamp) {
        self.broke = Some(at);
        self.up_since = None;
        if self.continuity == Continuity::Sure {
            self.was_sure = true;
            self.continuity = Continuity::Broken { since: at };
        }
    }
}
