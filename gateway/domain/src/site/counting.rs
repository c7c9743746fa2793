//! Strokes: from a machine's counter or report to the stencil that made them, or to nobody.

use std::collections::BTreeSet;

use super::Site;
use super::live::{Continuity, Doubt};
use crate::counter::{CONFIRMING_READS, Known, Step, possible};
use crate::event::{Advance, Basis, Event, Noted, WhyUnattributed};
use crate::machine::Counter;
use crate::names::{CounterName, MachineName, StencilCode};
use crate::signal::{Reading, Said, Signal, Width};
use crate::time::Timestamp;

/// Shortest time between two notes of a doubtful counter, so that a broken one cannot flood.
const BETWEEN_DOUBTS: std::time::Duration = std::time::Duration::from_secs(60);

/// One read of one counter.
struct Read<'a> {
    machine: &'a MachineName,
    counter: &'a CounterName,
    raw: u64,
    width: Width,
    reading: Reading,
    at: Timestamp,
    /// True when the stencil may have been changed since it was read.
    held: bool,
}

impl Site {
    /// A total was read. While nobody knows whether the stencil is still the one from before a
    /// broken link, a machine that names its stencil is given time to do so.
    pub(super) fn counter_read(&mut self, signal: &Signal) {
        let Said::CounterRead { counter, raw, .. } = &signal.said else {
            return;
        };
        let known = self.counter(&signal.machine, counter).map(|counter| counter.known.raw);
        if known.is_some_and(|known| known != *raw) && self.must_wait(&signal.machine) {
            self.live_mut(&signal.machine).held.insert(counter.clone(), signal.clone());
        } else {
            self.live_mut(&signal.machine).held.remove(counter);
            self.count(signal, false);
        }
    }

    fn must_wait(&self, machine: &MachineName) -> bool {
        let Some(live) = self.live.get(machine) else {
            return false;
        };
        let waited = live.up_since.map(|up| self.origin.at.apart(up)).unwrap_or_default();
        live.continuity != Continuity::Sure
            && self.plant.names_stencil(machine)
            && waited < self.plant.policy.seat_wait
    }

    /// Counts what was held until the machine named its stencil.
    pub(super) fn release_held(&mut self, machine: &MachineName) {
        for signal in std::mem::take(&mut self.live_mut(machine).held).into_values() {
            self.count(&signal, true);
        }
    }

    /// Counts what was held for machines that did not name their stencil in time.
    pub(super) fn release_overdue(&mut self, now: Timestamp) {
        let wait = self.plant.policy.seat_wait;
        let overdue: Vec<MachineName> = self
            .live
            .iter()
            .filter(|(_, live)| !live.held.is_empty())
            .filter(|(_, live)| live.up_since.is_none_or(|up| now.apart(up) >= wait))
            .map(|(name, _)| name.clone())
            .collect();
        for machine in overdue {
            self.release_held(&machine);
        }
    }

    fn counter(&self, machine: &MachineName, counter: &CounterName) -> Option<&Counter> {
        self.state.machines.get(machine)?.counters.get(counter)
    }

    fn count(&mut self, signal: &Signal, held: bool) {
        let Said::CounterRead { counter, raw, width, reading } = &signal.said else {
            return;
        };
        let read = Read {
            machine: &signal.machine,
            counter,
            raw: *raw,
            width: *width,
            reading: *reading,
            at: signal.received,
            held,
        };
        let Some(before) = self.counter(read.machine, counter).cloned() else {
            if read.raw <= read.width.largest() {
                self.note(&read, Noted::First);
                self.mark_counted(&read, read.at, 0);
            }
            return;
        };
        let cycle = self.plant.fastest_cycle(read.machine);
        let watch = self.live_mut(read.machine).watches.entry(counter.clone()).or_default();
        watch.follow_clock(read.at);
        let possible = watch.possible(read.at, before.at, read.reading, cycle);
        match (Known { width: read.width, ..before.known }).step(read.raw, possible) {
            Step::Same => self.unchanged(&read, &before),
            Step::Advanced { count: 0, .. } => {
                self.note(&read, Noted::Restarted);
                self.mark_counted(&read, before.at, 0);
            }
            Step::Advanced { count, advance } => self.advanced(&read, &before, count, advance),
            Step::Doubtful => self.doubt(&read, &before, possible),
        }
    }

    fn unchanged(&mut self, read: &Read<'_>, before: &Counter) {
        let seat = self.seat_code(read.machine);
        if before.candidates != seat.into_iter().collect::<BTreeSet<_>>() {
            self.note(read, Noted::SeatChanged);
        }
        self.mark_counted(read, before.at, 0);
    }

    fn advanced(&mut self, read: &Read<'_>, before: &Counter, count: u64, advance: Advance) {
        let basis = Basis::Counter {
            counter: read.counter.clone(),
            raw: read.raw,
            width: read.width,
            advance,
        };
        let mut candidates = before.candidates.clone();
        let live = self.live.get(read.machine);
        let mut unseen = live.is_some_and(|live| live.gaps.contains(read.counter))
            || (read.reading == Reading::Reported && self.overtaken(read.machine));
        if count == 1
            && let Some(seat) = self.stroke_just_done_by(read)
        {
            candidates = BTreeSet::from([seat]);
            unseen = false;
        }
        if unseen && candidates.len() == 1 {
            let candidates = candidates.into_iter().collect();
            let why = WhyUnattributed::SeatUnconfirmed;
            self.unattributed(read.machine, count, basis, candidates, before.at, why);
        } else {
            self.attribute(read.machine, count, basis, &candidates, before.at);
        }
        self.mark_counted(read, before.at, count);
    }

    /// The stencil that is in the machine as it says that it has just done a stroke.
    fn stroke_just_done_by(&self, read: &Read<'_>) -> Option<StencilCode> {
        let just_done = read.reading == Reading::Reported && !read.held;
        self.seat_code(read.machine).filter(|_| just_done && !self.overtaken(read.machine))
    }

    /// Where only scans tell what is in a machine, the scan of a change may overtake messages that
    /// wait for the link. True until those that waited must have come.
    fn overtaken(&self, machine: &MachineName) -> bool {
        let Some(live) = self.live.get(machine) else {
            return false;
        };
        let known = self.state.machines.get(machine);
        let changed = known
            .and_then(|machine| machine.seat.as_ref())
            .is_some_and(|seat| seat.since > live.heard_before);
        let settling =
            live.up_since.is_some_and(|up| self.origin.at.apart(up) < self.plant.policy.seat_wait);
        changed && settling && !self.plant.names_stencil(machine)
    }

    fn mark_counted(&mut self, read: &Read<'_>, fixed: Timestamp, count: u64) {
        let cycle = self.plant.fastest_cycle(read.machine);
        let used = cycle.saturating_mul(u32::try_from(count).unwrap_or(u32::MAX));
        let sure = self.seat_sure(read.machine, read.at);
        let live = self.live_mut(read.machine);
        if sure && live.up_since.is_some() {
            live.continuity = Continuity::Sure;
        }
        live.gaps.remove(read.counter);
        live.watches.entry(read.counter.clone()).or_default().counted(read.at, fixed, used);
    }

    /// A jump too far: noted, not booked; believed once the reads after it go on from there.
    fn doubt(&mut self, read: &Read<'_>, before: &Counter, possible_strokes: u64) {
        let cycle = self.plant.fastest_cycle(read.machine);
        let watch = self.live_mut(read.machine).watches.entry(read.counter.clone()).or_default();
        let earlier = watch.doubt;
        let reads = match earlier {
            Some(doubt) if goes_on(doubt, read, cycle) => doubt.reads.saturating_add(1),
            _ => 1,
        };
        let silent = earlier.is_some_and(|doubt| read.at.apart(doubt.noted) < BETWEEN_DOUBTS);
        let noted = earlier.filter(|_| silent).map_or(read.at, |doubt| doubt.noted);
        watch.doubt = Some(Doubt { raw: read.raw, at: read.at, reads, noted });
        if !silent {
            self.record(Event::CounterDoubted {
                machine: read.machine.clone(),
                counter: read.counter.clone(),
                last: before.known.raw,
                raw: read.raw,
                possible: possible_strokes,
            });
        }
        if reads >= CONFIRMING_READS && read.raw <= read.width.largest() {
            self.note(read, Noted::Accepted);
            self.mark_counted(read, before.at, 0);
        }
    }

    fn note(&mut self, read: &Read<'_>, why: Noted) {
        self.record(Event::CounterNoted {
            machine: read.machine.clone(),
            counter: read.counter.clone(),
            raw: read.raw,
            width: read.width,
            why,
        });
    }

    /// Strokes reported as such, one by one or in lots. More in one message than the machine
    /// could do in a day are not believed.
    pub(super) fn strokes_done(&mut self, machine: &MachineName, count: u64) {
        if count == 0 {
            return;
        }
        let at = self.origin.at;
        let candidates: BTreeSet<StencilCode> = self.seat_code(machine).into_iter().collect();
        let day = std::time::Duration::from_secs(24 * 3_600);
        if count > possible(day, self.plant.fastest_cycle(machine)) {
            let (candidates, why) =
                (candidates.into_iter().collect(), WhyUnattributed::Implausible);
            self.unattributed(machine, count, Basis::Reported, candidates, at, why);
            return;
        }
        if self.overtaken(machine) {
            let (candidates, why) =
                (candidates.into_iter().collect(), WhyUnattributed::SeatUnconfirmed);
            self.unattributed(machine, count, Basis::Reported, candidates, at, why);
            return;
        }
        self.attribute(machine, count, Basis::Reported, &candidates, at);
    }

    fn seat_code(&self, machine: &MachineName) -> Option<StencilCode> {
        Some(self.state.machines.get(machine)?.seat.as_ref()?.code.clone())
    }

    /// Books strokes to the one stencil that can have made them; else to nobody.
    fn attribute(
        &mut self,
        machine: &MachineName,
        count: u64,
        basis: Basis,
        candidates: &BTreeSet<StencilCode>,
        since: Timestamp,
    ) {
        let mut all = candidates.iter();
        let why = match (all.next(), all.next()) {
            _ if !self.seat_sure(machine, self.origin.at) => WhyUnattributed::SeatUnconfirmed,
            (None, _) => WhyUnattributed::NothingSeated,
            (Some(_), Some(_)) => WhyUnattributed::ChangedMeanwhile,
            (Some(only), None) if !self.state.stencils.contains_key(only) => {
                WhyUnattributed::UnknownStencil
            }
            (Some(only), None) => {
                self.record(Event::StrokesBooked {
                    stencil: only.clone(),
                    machine: machine.clone(),
                    count,
                    basis,
                });
                self.note_band(only);
                return;
            }
        };
        let candidates = candidates.iter().cloned().collect();
        self.unattributed(machine, count, basis, candidates, since, why);
    }

    fn unattributed(
        &mut self,
        machine: &MachineName,
        count: u64,
        basis: Basis,
        candidates: Vec<StencilCode>,
        since: Timestamp,
        why: WhyUnattributed,
    ) {
        let machine = machine.clone();
        self.record(Event::StrokesUnattributed { machine, count, since, candidates, why, basis });
    }
}

/// True when the read follows from the doubtful one before it.
fn goes_on(doubt: Doubt, read: &Read<'_>, cycle: std::time::Duration) -> bool {
    let possible = possible(read.at.since(doubt.at), cycle);
    Known::first(doubt.raw, read.width).step(read.raw, possible) != Step::Doubtful
}
