//! The oracle: each event that counts is held against what the line had told by then.

use stencilward_domain::event::{Basis, BasisKind, Event, Recorded, WhyUnattributed};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::signal::{Reading, Said};

use super::faults::Fault;
use super::floor::{Floor, Stencil};
use super::line::{Line, Shown, of};
use super::makes::{Second, Source};
use super::people::{Open, Wrong};
use super::world::{Outcome, World};

/// What the events of one signal say of one line.
#[derive(Debug)]
pub(crate) struct Batch {
    line: usize,
    /// The tally up to which the events of this signal go.
    cursor: u64,
    begun: u64,
    /// The total began anew since it was last told.
    anew: bool,
    /// Strokes that a restart lost, at most, by the site's own finding.
    at_most: Option<u64>,
    /// A finding that leaves open what became of the total.
    found: bool,
}

impl Shown {
    fn tally(self) -> u64 {
        match self {
            Self::Total { tally, .. } => tally,
            Self::Strokes { to, .. } => to,
            Self::Seat(_) | Self::Boards { .. } => 0,
        }
    }

    fn begins(self) -> u64 {
        match self {
            Self::Total { base, .. } => base,
            Self::Strokes { from, .. } => from,
            Self::Seat(_) | Self::Boards { .. } => 0,
        }
    }
}

impl Line {
    /// The signal of what is shown, which is what the gateway has seen last from now on.
    pub(crate) fn shows(&mut self, shown: Shown, again: bool, floor: &Floor) -> Said {
        match shown {
            Shown::Seat(seat) => {
                self.unnamed = false;
                let reports = matches!(self.make.source, Source::Sent(_));
                self.believed = seat.or(self.believed.filter(|_| !reports));
                return seat.map_or(Said::Removed, |stencil| Said::Seated {
                    code: floor.codes[usize::from(stencil)].clone(),
                });
            }
            Shown::Boards { count, order, tally } => {
                if let Some(running) = self.order.filter(|o| o.number == order && !again) {
                    let (before, from) = (running.strokes(self.now.boards), self.now.heard);
                    self.now.boards += count;
                    let more = running.strokes(self.now.boards) - before;
                    self.shown = Some(Shown::Strokes { from, to: from + more });
                    self.reaches(tally);
                }
                return Said::BoardsCounted { count };
            }
            _ if again => {}
            _ => self.shown = Some(shown),
        }
        match shown {
            Shown::Total { raw, .. } => self.reads(raw, floor),
            Shown::Strokes { from, to } => Said::StrokesDone { count: to - from },
            Shown::Seat(_) | Shown::Boards { .. } => Said::Removed,
        }
    }

    /// A read, or a message, of this value.
    pub(crate) fn reads(&self, raw: u64, floor: &Floor) -> Said {
        let sent = matches!(self.make.source, Source::Sent(_));
        Said::CounterRead {
            counter: floor.total.clone(),
            raw,
            width: self.make.source.width().expect("a line with a total"),
            reading: if sent { Reading::Reported } else { Reading::Polled },
        }
    }

    /// All that was shown is told.
    pub(crate) fn is_told(&self) -> bool {
        self.shown
            .is_none_or(|shown| self.now.heard >= shown.tally() && self.now.heard >= shown.begins())
    }
}

impl World<'_> {
    /// The line that a printer's name stands for.
    fn line_of(machine: &MachineName) -> Option<usize> {
        machine.as_str().strip_prefix("printer-")?.parse().ok()
    }

    fn stencil_of(code: &StencilCode) -> Option<Stencil> {
        code.as_str().strip_prefix("ST-")?.parse().ok()
    }

    /// Holds one event against what was told.
    pub(crate) fn tally(&mut self, recorded: &Recorded) -> Outcome {
        match &recorded.fact.event {
            Event::StrokesBooked { machine, basis: Basis::Hand { .. }, count, .. } => {
                let line = Self::line_of(machine).expect("a printer");
                self.lines[line].now.strokes += count;
                self.dirty.push(line);
                Ok(())
            }
            Event::StrokesBooked { machine, stencil, count, basis } => {
                let stencil = Self::stencil_of(stencil);
                self.counts(machine, basis.kind(), *count, stencil, None, recorded)
            }
            Event::StrokesUnattributed { machine, count, basis, why, .. } => {
                self.counts(machine, basis.kind(), *count, None, Some(*why), recorded)
            }
            Event::StrokesChecked { machine, basis, .. } => {
                self.faults.happened(Fault::Checked);
                let line = Self::line_of(machine).expect("a printer");
                let make = self.lines[line].make;
                let known = match make.second {
                    Second::Pulses => basis.kind() == BasisKind::Pulses,
                    Second::Order => basis.kind() == BasisKind::Order,
                    Second::Counter => basis.kind() == BasisKind::Counter,
                    Second::None => false,
                };
                known.then_some(()).ok_or(format!("{machine} has no such second basis: {basis:?}"))
            }
            Event::CounterNoted { machine, counter, .. } => {
                if let Some(line) = self.whose(machine, counter.as_str()) {
                    self.begin(line);
                }
                Ok(())
            }
            Event::RestartUnseen { machine, counter, at_most, .. } => {
                if let Some(line) = self.whose(machine, counter.as_str()) {
                    self.begin(line).at_most = Some(*at_most);
                }
                Ok(())
            }
            _ => Ok(()),
        }
    }

    /// The line whose counter of record this is.
    fn whose(&self, machine: &MachineName, counter: &str) -> Option<usize> {
        let line = Self::line_of(machine)?;
        let known = &self.lines[line];
        (known.make.source.width().is_some() && known.counter.as_str() == counter).then_some(line)
    }

    fn begin(&mut self, number: usize) -> &mut Batch {
        let known = self.batch.iter().position(|batch| batch.line == number);
        let index = known.unwrap_or_else(|| {
            let line = &self.lines[number];
            let begins = line.shown.map_or(0, Shown::begins);
            let begun = begins.max(line.now.heard);
            let anew = begins != line.now.base;
            let batch =
                Batch { line: number, cursor: begun, begun, anew, at_most: None, found: false };
            self.batch.push(batch);
            self.batch.len() - 1
        });
        &mut self.batch[index]
    }

    fn counts(
        &mut self,
        machine: &MachineName,
        kind: BasisKind,
        count: u64,
        booked: Option<Stencil>,
        why: Option<WhyUnattributed>,
        recorded: &Recorded,
    ) -> Outcome {
        let number = Self::line_of(machine).ok_or(format!("{machine} is no printer"))?;
        if self.lines[number].make.source.kind() != kind {
            return Err(format!("{machine} books by {kind:?}"));
        }
        let (cursor, anew) = {
            let batch = self.begin(number);
            batch.found |= why.is_some();
            (batch.cursor, batch.anew)
        };
        let fake = self.fake(number, count, why, anew)?;
        let line = &mut self.lines[number];
        let (makers, taken) = if kind == BasisKind::Order {
            line.latest(count)
        } else {
            line.made(cursor, cursor + count - fake)
        };
        let told = line.shown.map_or(0, Shown::tally);
        if cursor + count - fake > told {
            return Err(format!("{machine} books {count} more; {} are told", told - cursor));
        }
        self.begin(number).cursor += count - fake;
        let Some(stencil) = booked else {
            self.open.insert(recorded.position, Open { line: number, makers, fake });
            return Ok(());
        };
        if of(&makers, stencil) + of(&taken, stencil) < count {
            return Err(format!("{machine} books {count} to {stencil}, made by {makers:?}"));
        }
        if of(&makers, stencil) < count {
            self.wrong.push(Wrong { index: self.ledger.len(), stencil, makers });
        }
        Ok(())
    }

    /// Strokes of an event that nobody made: those of a jump to a new counter's first value, and
    /// those before a restart that may as well have been a wrap.
    fn fake(
        &mut self,
        number: usize,
        count: u64,
        why: Option<WhyUnattributed>,
        anew: bool,
    ) -> Result<u64, String> {
        let told = &mut self.lines[number].now;
        let fake = match why {
            Some(WhyUnattributed::WrapOrRestart) if anew => {
                self.faults.happened(Fault::WrapOrRestartRestarted);
                count
            }
            Some(WhyUnattributed::WrapOrRestart) => {
                self.faults.happened(Fault::WrapOrRestartWrapped);
                0
            }
            Some(WhyUnattributed::Implausible) => {
                self.faults.happened(Fault::JumpConfirmed);
                match told.replaced.take() {
                    Some(first) => first.checked_sub(told.raw).unwrap_or(first),
                    None => 0,
                }
            }
            _ => 0,
        };
        told.fake += fake;
        let holds = count >= fake;
        let printer = &self.lines[number].printer;
        holds.then_some(fake).ok_or(format!("{printer} jumps {count}, without the {fake} it did"))
    }

    /// What was told is counted, to the last stroke.
    pub(crate) fn settle(&mut self) -> Outcome {
        for batch in std::mem::take(&mut self.batch) {
            let line = &mut self.lines[batch.line];
            let told = line.shown.map_or(0, Shown::tally);
            if batch.cursor != told {
                let printer = &line.printer;
                return Err(format!("{printer} told {} strokes more", told - batch.cursor));
            }
            let lost = batch.begun - line.now.heard;
            if let Some(Shown::Total { raw, base, .. }) = line.shown {
                (line.now.raw, line.now.base) = (raw, base);
                let covered = batch.found || batch.at_most.is_some_and(|most| most >= lost);
                if lost > 0 && !covered {
                    let printer = &line.printer;
                    return Err(format!(
                        "{printer} lost {lost} strokes; found {:?}",
                        batch.at_most
                    ));
                }
                if lost > 0 {
                    self.faults.happened(Fault::StrokesLostInRestart);
                }
            }
            line.now.strokes += told - batch.begun;
            line.now.lost += lost;
            line.now.heard = told;
            line.now.doubtful = false;
            self.dirty.push(batch.line);
        }
        Ok(())
    }

    /// What a line says is believed at once, unless there is a reason to wait.
    pub(crate) fn believed(&mut self, number: usize) -> Outcome {
        let line = &self.lines[number];
        let excused = line.unnamed || line.now.replaced.is_some() || line.now.doubtful;
        if line.is_told() || excused {
            return Ok(());
        }
        Err(format!("{} is not believed: {:?}, {:?}", line.printer, line.shown, line.now))
    }
}
