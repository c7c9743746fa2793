//! The year's end: sums, and raw values, held against each other.

use stencilward_domain::event::{Advance, Basis, Event};

use super::floor::STENCILS;
use super::line::Line;
use super::world::{Outcome, World};

/// What the ledger says of one counter: up to where it has counted.
#[derive(Debug, Clone, Copy, Default)]
struct Reached {
    raw: u64,
    /// Before the last restart: the value, and the strokes since.
    before: Option<(u64, u64)>,
}

impl World<'_> {
    pub(crate) fn audit(&self) -> Outcome {
        for (number, line) in self.lines.iter().enumerate() {
            self.sums_of(number, line)?;
            self.counted_once(line)?;
        }
        self.stencils_have_what_they_made()?;
        if self.replayed.state() != self.site.state() {
            return Err("replaying the ledger gives another state".to_owned());
        }
        Ok(())
    }

    fn sums_of(&self, number: usize, line: &Line) -> Outcome {
        let name = &line.printer;
        let known = self.site.state().machines.get(name);
        let known = known.ok_or(format!("{name} is not known"))?;
        let open: u64 =
            self.open.values().filter(|o| o.line == number).map(super::people::Open::left).sum();
        let sum = known.booked + known.unattributed + known.written_off;
        let told = line.now.strokes + line.now.fake;
        if sum != told {
            return Err(format!("{name} told {told} strokes; {sum} are accounted for"));
        }
        if known.unattributed != open {
            return Err(format!("{name} has {} open, not {open}", known.unattributed));
        }
        if line.make.source.width().is_some() && line.now.heard != line.tally {
            return Err(format!("{name} counted {}, told {}", line.tally, line.now.heard));
        }
        Ok(())
    }

    fn stencils_have_what_they_made(&self) -> Outcome {
        let state = self.site.state();
        let mut booked = 0;
        for (number, code) in self.floor.codes.iter().enumerate().take(STENCILS) {
            let strokes = state.stencils.get(code).map_or(0, |stencil| stencil.strokes);
            let made = self.made[number] + self.taken_for[number];
            if strokes > made {
                return Err(format!("{code} has {strokes} strokes and made {made}"));
            }
            booked += strokes;
        }
        let by_machines: u64 = state.machines.values().map(|machine| machine.booked).sum();
        if booked != by_machines {
            return Err(format!("stencils have {booked} strokes, machines {by_machines}"));
        }
        for (position, open) in &self.open {
            let left = state.unattributed.get(position).map(|known| known.left);
            if left != Some(open.left()) {
                return Err(format!("{position} has {left:?} left, not {}", open.left()));
            }
        }
        let kept = state.unattributed.len() == self.open.len();
        kept.then_some(()).ok_or("strokes are open that should not be".to_owned())
    }

    /// No two bookings of a counter cover one stroke of it: each begins where one before ended.
    fn counted_once(&self, line: &Line) -> Outcome {
        let mut reached = Reached::default();
        for recorded in &self.ledger {
            let (machine, count, basis) = match &recorded.fact.event {
                Event::CounterNoted { machine, counter, raw, .. }
                    if *machine == line.printer && *counter == line.counter =>
                {
                    reached.note(*raw);
                    continue;
                }
                Event::StrokesBooked { machine, count, basis, .. }
                | Event::StrokesUnattributed { machine, count, basis, .. } => {
                    (machine, *count, basis)
                }
                _ => continue,
            };
            if *machine != line.printer {
                continue;
            }
            if let Basis::Counter { raw, advance, .. } | Basis::Pulses { raw, advance, .. } = basis
            {
                reached
                    .goes_on(count, *raw, *advance, line.largest())
                    .map_err(|why| format!("{} at {}: {why}", line.printer, recorded.position))?;
            }
        }
        Ok(())
    }
}

impl Reached {
    /// A value kept without strokes: the first, the same again, a restart at zero.
    fn note(&mut self, raw: u64) {
        if raw < self.raw {
            self.before = Some((self.raw, 0));
        }
        self.raw = raw;
    }

    fn goes_on(&mut self, count: u64, raw: u64, advance: Advance, largest: u64) -> Outcome {
        let from = match advance {
            Advance::Difference => Some(self.raw),
            Advance::Wrapped => raw.checked_add(largest - self.raw + 1).map(|raw| raw - count),
            Advance::Restarted => Some(0),
            Advance::Recovered => self.before.map(|(raw, booked)| raw.saturating_add(booked)),
            Advance::Jumped => {
                raw.checked_sub(count).filter(|from| *from == 0 || *from == self.raw)
            }
        };
        let from = from.ok_or("a jump from nowhere")?;
        let good = match advance {
            Advance::Wrapped => from == largest - self.raw + 1 + raw - count && count > raw,
            _ => from + count == raw,
        };
        if !good {
            return Err(format!("{count} strokes to {raw} do not begin at {from}"));
        }
        self.before = match advance {
            Advance::Restarted => Some((self.raw, count)),
            Advance::Difference => self.before.map(|(raw, booked)| (raw, booked + count)),
            _ => None,
        };
        self.raw = raw;
        Ok(())
    }
}
