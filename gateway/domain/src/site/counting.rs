//! Counters: from two reads of a total to the strokes made in between.

use std::collections::BTreeSet;

use super::Site;
use super::booking::Made;
use super::live::{Continuity, Doubt, Live};
use crate::counter::{CONFIRMING_READS, Known, SLACK, Step, possible};
use crate::event::{Advance, Basis, Event, Noted, WhyUnattributed};
use crate::machine::Counter;
use crate::names::{CounterName, MachineName, StencilCode};
use crate::plant::Counted;
use crate::signal::{Reading, Said, Signal, Width};
use crate::time::Timestamp;

/// Shortest time between two notes of a doubtful counter, so that a broken one cannot flood.
const BETWEEN_DOUBTS: std::time::Duration = std::time::Duration::from_secs(60);

/// One read of one counter.
struct Read<'a> {
    /// The machine that was read.
    source: &'a MachineName,
    /// The printer whose strokes or wipes it counts.
    machine: MachineName,
    /// The counter's name at that printer.
    counter: CounterName,
    counts: Counted,
    raw: u64,
    width: Width,
    reading: Reading,
    at: Timestamp,
    /// True when the stencil may have been changed since it was read.
    held: bool,
}

impl Read<'_> {
    fn basis(&self, raw: u64, advance: Advance) -> Basis {
        let (counter, width) = (self.counter.clone(), self.width);
        if *self.source == self.machine {
            Basis::Counter { counter, raw, width, advance }
        } else {
            Basis::Pulses { counter, raw, width, advance }
        }
    }
}

impl Site {
    /// A total was read. While nobody knows whether the stencil is still the one from before a
    /// broken link, a machine that names its stencil is given time to do so.
    pub(super) fn counter_read(&mut self, signal: &Signal) {
        let Said::CounterRead { raw, .. } = &signal.said else {
            return;
        };
        let Some((printer, counter, _)) = self.counter_of(signal) else {
            return;
        };
        let known = self.counter(&printer, &counter).map(|counter| counter.known.raw);
        if known.is_some_and(|known| known != *raw) && self.must_wait(&printer) {
            self.live_mut(&printer).held.insert(counter, signal.clone());
        } else {
            self.live_mut(&printer).held.remove(&counter);
            self.count(signal, false);
        }
    }

    /// The printer that a counter counts for, the counter's name there, and what it counts.
    fn counter_of(&self, signal: &Signal) -> Option<(MachineName, CounterName, Counted)> {
        let Said::CounterRead { counter, .. } = &signal.said else {
            return None;
        };
        let (printer, counts) = self.plant.counted(&signal.machine, counter);
        let name = if printer == signal.machine {
            counter.clone()
        } else {
            CounterName::new(&format!("{}/{counter}", signal.machine)).ok()?
        };
        Some((printer, name, counts))
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

    /// Counts what was held of the reads of these machines: they will not name a stencil any more.
    pub(super) fn release_held_of(&mut self, leaving: &BTreeSet<MachineName>) {
        let waits = |live: &Live| live.held.values().any(|held| leaving.contains(&held.machine));
        let waiting = self.live.iter().filter(|(_, live)| waits(live));
        for printer in waiting.map(|(name, _)| name.clone()).collect::<Vec<_>>() {
            self.release_held(&printer);
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
        let Said::CounterRead { raw, width, reading, .. } = signal.said else {
            return;
        };
        let Some((machine, counter, counts)) = self.counter_of(signal) else {
            return;
        };
        let (source, at) = (&signal.machine, signal.received);
        let read = Read { source, machine, counter, counts, raw, width, reading, at, held };
        let Some(before) = self.counter(&read.machine, &read.counter).cloned() else {
            if read.raw <= read.width.largest() {
                self.note(&read, Noted::First);
                self.mark_counted(&read, read.at, 0);
            }
            return;
        };
        let cycle = self.plant.fastest_cycle(&read.machine);
        let missed = self.missed(&read);
        let live = self.live_mut(&read.machine);
        let watch = live.watches.entry(read.counter.clone()).or_default();
        watch.follow_clock(read.at);
        let times = (read.at, before.at);
        let (possible, past_zero) = watch.possible(times, read.reading, missed, cycle);
        let known = Known { width: read.width, ..before.known };
        match known.step(read.raw, possible, past_zero) {
            Step::Same => self.unchanged(&read, &before),
            step if read.reading == Reading::ReportedAgain && !step.goes_on() => {}
            Step::Advanced { count, advance } => {
                if advance == Advance::Restarted {
                    self.note_lost(&read, &before, past_zero - count);
                }
                if count == 0 {
                    let misread = advance == Advance::Recovered;
                    self.note(&read, if misread { Noted::Misread } else { Noted::Restarted });
                } else {
                    self.advanced(&read, &before, count, advance);
                }
                self.mark_counted(&read, before.at, count);
            }
            Step::Doubtful => self.doubt(&read, &before, possible),
        }
    }

    fn unchanged(&mut self, read: &Read<'_>, before: &Counter) {
        let seat = self.seat_code(&read.machine);
        if before.gap || before.candidates != seat.into_iter().collect::<BTreeSet<_>>() {
            self.note(read, Noted::SeatChanged);
        }
        self.mark_counted(read, before.at, 0);
    }

    /// What a counter counted between its last read and its restart nobody will know.
    fn note_lost(&mut self, read: &Read<'_>, before: &Counter, at_most: u64) {
        if at_most > SLACK && read.counts == Counted::Strokes {
            self.record(Event::RestartUnseen {
                machine: read.machine.clone(),
                counter: read.counter.clone(),
                last: before.known.raw,
                raw: read.raw,
                at_most,
            });
        }
    }

    /// A total that went past zero while nobody listened may have wrapped or restarted. Either way
    /// it counted up to its value since; what a wrap adds to that is left open. A machine that tells
    /// each stroke has told of the one that went past zero.
    fn advanced(&mut self, read: &Read<'_>, before: &Counter, count: u64, advance: Advance) {
        let strokes = read.counts == Counted::Strokes && self.books(&read.machine, read.source);
        let told = read.reading.is_reported() && count == 1;
        if strokes && advance == Advance::Wrapped && self.missed(read) && !told {
            self.unattributed(Made {
                machine: read.machine.clone(),
                count: count - read.raw,
                basis: read.basis(0, Advance::Wrapped),
                candidates: before.candidates.clone(),
                since: before.at,
                doubt: Some(WhyUnattributed::WrapOrRestart),
            });
            if read.raw > 0 {
                self.credit(read, before, read.raw, Advance::Difference);
            }
        } else {
            self.credit(read, before, count, advance);
        }
    }

    /// True when the link was down, or the gateway, since the counter was last read.
    fn missed(&self, read: &Read<'_>) -> bool {
        let last = self.last_read(read);
        self.live.get(read.source).is_some_and(|live| live.missed_since(last))
    }

    fn last_read(&self, read: &Read<'_>) -> Option<Timestamp> {
        self.live.get(&read.machine)?.watches.get(&read.counter)?.last_read()
    }

    fn credit(&mut self, read: &Read<'_>, before: &Counter, count: u64, advance: Advance) {
        let basis = read.basis(read.raw, advance);
        let mut candidates = before.candidates.clone();
        let mut doubt = self.doubt_about(read, before);
        if count == 1
            && let Some(seat) = self.stroke_just_done_by(read)
        {
            candidates = BTreeSet::from([seat]);
            doubt = None;
        }
        let (machine, since) = (read.machine.clone(), before.at);
        let made = Made { machine, count, basis, candidates, since, doubt };
        match read.counts {
            Counted::Strokes => self.attribute(made),
            Counted::Wipes => self.wiped(made),
        }
    }

    /// Why even an only candidate need not have made the strokes.
    fn doubt_about(&self, read: &Read<'_>, before: &Counter) -> Option<WhyUnattributed> {
        let live = self.live.get(&read.machine);
        let reported = read.reading.is_reported();
        let seat = self.state.machines.get(&read.machine).and_then(|machine| machine.seat.as_ref());
        if reported && !read.held && seat.is_none() {
            return Some(WhyUnattributed::NothingSeated);
        }
        let unseen = before.gap
            || live.is_some_and(|live| live.gaps.contains(&read.counter))
            || (reported && self.overtaken(&read.machine, read.source))
            || (!self.seat_sure(read.source, read.at)
                && seat.is_some_and(|seat| seat.since > self.last_read(read).unwrap_or(before.at)));
        (unseen && before.candidates.len() == 1).then_some(WhyUnattributed::SeatUnconfirmed)
    }

    /// The stencil that is in the machine as it says that it has just done a stroke.
    fn stroke_just_done_by(&self, read: &Read<'_>) -> Option<StencilCode> {
        let just_done = read.reading.is_reported() && !read.held;
        let late = self.overtaken(&read.machine, read.source);
        let mut held = self.in_machine_then(&read.machine).ok()?.into_iter();
        held.next().filter(|_| just_done && !late && held.next().is_none())
    }

    fn mark_counted(&mut self, read: &Read<'_>, fixed: Timestamp, count: u64) {
        let cycle = self.plant.fastest_cycle(&read.machine);
        let sure = self.seat_sure(&read.machine, read.at);
        if *read.source != read.machine {
            self.live_mut(read.source).continuity = Continuity::Sure;
        }
        let live = self.live_mut(&read.machine);
        if sure && live.up_since.is_some() {
            live.continuity = Continuity::Sure;
        }
        live.gaps.remove(&read.counter);
        live.watches.entry(read.counter.clone()).or_default().counted(read.at, fixed, count, cycle);
    }

    /// A jump too far: noted, not counted. Once the reads after it go on from there, what it claims
    /// is nobody's until a person has looked at it.
    fn doubt(&mut self, read: &Read<'_>, before: &Counter, possible_strokes: u64) {
        let cycle = self.plant.fastest_cycle(&read.machine);
        let live = self.live_mut(&read.machine);
        let watch = live.watches.entry(read.counter.clone()).or_default();
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
            self.accept(read, before);
            self.mark_counted(read, before.at, 0);
        }
    }

    fn accept(&mut self, read: &Read<'_>, before: &Counter) {
        let claimed = read.raw.checked_sub(before.known.raw).unwrap_or(read.raw);
        if claimed == 0 || read.counts == Counted::Wipes || !self.books(&read.machine, read.source)
        {
            self.note(read, Noted::Accepted);
            return;
        }
        self.unattributed(Made {
            machine: read.machine.clone(),
            count: claimed,
            basis: read.basis(read.raw, Advance::Jumped),
            candidates: before.candidates.clone(),
            since: before.at,
            doubt: Some(WhyUnattributed::Implausible),
        });
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
}

/// True when the read follows from the doubtful one before it.
fn goes_on(doubt: Doubt, read: &Read<'_>, cycle: std::time::Duration) -> bool {
    let possible = possible(read.at.since(doubt.at), cycle);
    Known::first(doubt.raw, read.width).step(read.raw, possible, possible) != Step::Doubtful
}
