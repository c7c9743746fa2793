//! What may happen at a line, one thing at a time.

use stencilward_domain::signal::{MachineState, Said};
use stencilward_domain::site::Request;

use super::faults::Fault;
use super::floor::{POOL, STENCILS, Stencil};
use super::line::{Makers, Shown};
use super::makes::{Second, Source};
use super::world::{DAY, Outcome, SECOND, World};

/// One thing that happens.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Act {
    Strokes(u64),
    Poll,
    TakeOut,
    PutIn(Which, Scanned),
    /// An operator scans what is in the printer.
    Scan,
    /// The printer names what is in it.
    Name,
    Tick,
    Break,
    Mend,
    PowerCycle,
    Replace,
    Freeze,
    Thaw(bool),
    Repeat,
    OutOfOrder,
    MisreadAsZero,
    GlitchUp,
    State(MachineState),
    ClockWrong,
    StartOrder,
    Panels(u64),
    FinishOrder,
    Enter,
    Wash(Stencil),
    Store(Stencil),
}

/// Which stencil is put in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Which {
    Fresh,
    /// One that comes and goes while nobody looks.
    Visitor,
    /// The one before the visitor.
    Former,
    Unlisted,
}

/// Whether the operator scans it; a printer that names its stencil tells by itself.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Scanned {
    Yes,
    /// The link is down, and nobody is told.
    Unseen,
    /// The operator forgets it.
    Forgotten,
}

impl World<'_> {
    pub(crate) fn perform(&mut self, number: usize, act: Act) -> Outcome {
        self.lines[number].remember(self.now, act);
        match act {
            Act::Strokes(count) => self.strokes(number, count),
            Act::Poll => self.poll(number),
            Act::TakeOut => self.take_out(number),
            Act::PutIn(which, scanned) => self.put_in(number, which, scanned),
            Act::Scan => self.scan(number),
            Act::Name if self.hears(number) && self.lines[number].make.names => {
                self.send(number, Shown::Seat(self.lines[number].seat))
            }
            Act::Name => Ok(()),
            Act::Tick => self.tick(),
            Act::Break => self.breaks(number),
            Act::Mend => self.mends(number),
            Act::State(state) => self.state(number, state),
            Act::ClockWrong => {
                self.faults.happened(Fault::MachineClockWrong);
                self.lines[number].skew = self.luck.span(-DAY, DAY);
                Ok(())
            }
            Act::StartOrder => self.start_order(number),
            Act::Panels(count) => self.panels(number, count),
            Act::FinishOrder => self.finish_order(number),
            Act::Enter => self.enter_all(number),
            Act::Wash(stencil) => self.wash(stencil),
            Act::Store(stencil) => self.store(stencil),
            _ => self.goes_wrong(number, act),
        }
    }

    fn strokes(&mut self, number: usize, count: u64) -> Outcome {
        if self.lines[number].seat.is_none() {
            return Ok(());
        }
        let source = self.lines[number].make.source;
        if source.follows_orders() {
            return self.panels(number, count);
        }
        for lot in self.lots(number, count) {
            let from = self.lines[number].tally;
            self.stroke(number, lot);
            let to = self.lines[number].tally;
            match source {
                Source::Sent(_) => self.send(number, self.total(number))?,
                Source::Strokes | Source::Edges => {
                    self.send(number, Shown::Strokes { from, to })?;
                }
                _ => {}
            }
        }
        Ok(())
    }

    /// A machine that reports tells of each stroke. A year of those is too much to simulate: few
    /// are told one by one, and those around zero, many in lots.
    fn lots(&self, number: usize, count: u64) -> Vec<u64> {
        let line = &self.lines[number];
        match line.make.source {
            Source::Sent(_) | Source::Strokes if count <= 3 => vec![1; count as usize],
            Source::Sent(_) => {
                let to_zero = line.largest() - line.raw + 1;
                let first = if line.raw == 0 { 1 } else { to_zero - 1 };
                if first >= count {
                    return vec![count];
                }
                let then = count - first;
                [first, 1.min(then), then - 1].into_iter().filter(|lot| *lot > 0).collect()
            }
            _ => vec![count],
        }
    }

    pub(crate) fn total(&self, number: usize) -> Shown {
        let line = &self.lines[number];
        Shown::Total { raw: line.raw, tally: line.tally, base: line.base }
    }

    pub(crate) fn poll(&mut self, number: usize) -> Outcome {
        if !self.hears(number) {
            return Ok(());
        }
        let line = &self.lines[number];
        let (make, tally, raw) = (line.make, line.tally, line.raw);
        let crosses = raw < line.now.raw && line.base <= line.now.heard;
        if make.source.is_polled() {
            if crosses && !line.unnamed {
                self.faults.happened(Fault::WrapHeard);
            }
            self.send(number, self.total(number))?;
        }
        let second = match make.second {
            Second::Pulses => &self.floor.modules[number],
            Second::Counter => &self.floor.printers[number],
            _ => return Ok(()),
        };
        let counter = self.floor.total.clone();
        let (width, reading) = (
            stencilward_domain::signal::Width::Bits32,
            stencilward_domain::signal::Reading::Polled,
        );
        self.hear(
            &second.clone(),
            None,
            0,
            Said::CounterRead { counter, raw: tally, width, reading },
        )
    }

    fn take_out(&mut self, number: usize) -> Outcome {
        let line = &mut self.lines[number];
        let Some(stencil) = line.seat.take() else { return Ok(()) };
        line.seat_before = Some(stencil);
        self.free[usize::from(stencil)] = true;
        let line = &self.lines[number];
        if line.make.names {
            self.send(number, Shown::Seat(None))?;
        } else if self.running && self.luck.percent(30) {
            self.scan(number)?;
        }
        if usize::from(stencil) < STENCILS && self.luck.percent(12) {
            self.comes_up(number, self.now + 300 * SECOND, Act::Wash(stencil));
            self.comes_up(number, self.now + 1_500 * SECOND, Act::Store(stencil));
        }
        Ok(())
    }

    /// A free stencil of the line, or now and then of another.
    fn chosen(&mut self, number: usize, which: Which) -> Stencil {
        if which == Which::Unlisted {
            return (STENCILS + number) as Stencil;
        }
        let former = self.lines[number].former;
        if let (Which::Former, Some(former)) = (which, former)
            && self.free[usize::from(former)]
        {
            return former;
        }
        loop {
            let first = if self.luck.percent(90) { number * POOL } else { 0 };
            let among = if first > 0 { POOL } else { STENCILS };
            let stencil = first + self.luck.between(0, among as u64) as usize;
            if self.free[stencil] && former != Some(stencil as Stencil) {
                return stencil as Stencil;
            }
        }
    }

    fn put_in(&mut self, number: usize, which: Which, scanned: Scanned) -> Outcome {
        if self.lines[number].seat.is_some() {
            return Ok(());
        }
        let names = self.lines[number].make.names;
        let long = self.back_at - self.now > 600 * SECOND;
        if !names && !self.running && scanned == Scanned::Yes && !long {
            let back = self.now.max(self.back_at) + 30 * SECOND;
            self.waits(number, back - self.now);
            self.comes_up(number, back, Act::PutIn(which, scanned));
            return Ok(());
        }
        if self.lines[number].untold {
            self.poll(number)?;
        }
        let stencil = self.chosen(number, which);
        self.leaves_slot(stencil)?;
        self.free[usize::from(stencil)] = false;
        let line = &mut self.lines[number];
        line.seat = Some(stencil);
        if which == Which::Unlisted {
            self.faults.happened(Fault::UnlistedStencil);
        }
        let tells = names || (scanned == Scanned::Yes && self.running);
        line.untold = !names && (line.untold || !tells);
        let unlinked = line.make.source.is_module();
        let known_out = line.scanned_out && !unlinked;
        line.taken_for = match which {
            Which::Visitor if known_out => None,
            Which::Visitor if !line.make.kept || unlinked => line.believed,
            _ if tells => None,
            _ if scanned == Scanned::Forgotten || unlinked => line.believed,
            _ => None,
        };
        if which == Which::Visitor {
            line.former = line.seat_before;
        }
        if scanned == Scanned::Unseen {
            self.faults.happened(Fault::ChangedUnseen);
        } else if scanned == Scanned::Forgotten && !names {
            self.faults.happened(Fault::ScanMissing);
        }
        if names {
            return self.send(number, Shown::Seat(Some(stencil)));
        }
        if tells { self.scan(number) } else { Ok(()) }
    }

    pub(crate) fn scan(&mut self, number: usize) -> Outcome {
        let line = &self.lines[number];
        if !self.running || line.make.names {
            return Ok(());
        }
        let (machine, by) = (line.printer.clone(), "M. Example".to_owned());
        let request = match line.seat {
            Some(seat) => {
                let stencil = self.floor.codes[usize::from(seat)].clone();
                Request::Seat { stencil, machine, by }
            }
            None => Request::Remove { machine, by },
        };
        self.ask(&request)?;
        let line = &mut self.lines[number];
        line.taken_for = None;
        let back = line.believed == line.seat || line.make.source.follows_orders();
        if let (Some(seat), true) = (line.seat, line.untold && back) {
            self.taken_for[usize::from(seat)] += line.may_be_taken_for(seat);
        }
        line.untold &= line.seat.is_none();
        line.scanned_out = line.seat.is_none();
        // What is read later may have been made before; what is reported then is nobody's.
        let reports = matches!(line.make.source, Source::Sent(_));
        line.believed = line.seat.or(line.believed.filter(|_| !reports));
        Ok(())
    }

    fn state(&mut self, number: usize, state: MachineState) -> Outcome {
        if state == MachineState::Down {
            self.faults.happened(Fault::MachineDown);
        }
        if !self.hears(number) {
            return Ok(());
        }
        let word = format!("{state:?}");
        let printer = self.lines[number].printer.clone();
        self.hear(&printer, None, 0, Said::State { state, word })
    }

    fn wash(&mut self, stencil: Stencil) -> Outcome {
        if !self.running || !self.free[usize::from(stencil)] {
            return Ok(());
        }
        let (_, washer, _) = self.floor.corner(stencil);
        let (washer, code) = (washer.clone(), self.floor.codes[usize::from(stencil)].clone());
        let began = Said::WashBegan { code: Some(code.clone()), programme: None };
        self.hear(&washer, None, 0, began)?;
        let outcome = if self.luck.percent(90) {
            stencilward_domain::signal::WashOutcome::Passed
        } else {
            stencilward_domain::signal::WashOutcome::Failed
        };
        let measured = Vec::new();
        let ended = Said::WashEnded { code: Some(code), programme: None, outcome, measured };
        self.hear(&washer, None, 0, ended)
    }

    fn store(&mut self, stencil: Stencil) -> Outcome {
        if !self.running || !self.free[usize::from(stencil)] {
            return Ok(());
        }
        let (rack, _, slot) = self.floor.corner(stencil);
        let (rack, slot) = (rack.clone(), slot.clone());
        let code = self.floor.codes[usize::from(stencil)].clone();
        self.stored[usize::from(stencil)] = true;
        let asked = Said::StoreAsked { code: code.clone(), slot: Some(slot.clone()) };
        self.hear(&rack, None, 0, asked)?;
        self.hear(&rack, None, 0, Said::SlotOccupied { slot, code: Some(code) })
    }

    fn leaves_slot(&mut self, stencil: Stencil) -> Outcome {
        if !self.running || !self.stored.get(usize::from(stencil)).is_some_and(|stored| *stored) {
            return Ok(());
        }
        let (rack, _, slot) = self.floor.corner(stencil);
        let (rack, slot) = (rack.clone(), slot.clone());
        let code = self.floor.codes[usize::from(stencil)].clone();
        self.stored[usize::from(stencil)] = false;
        let asked = Said::TakeAsked { code: code.clone(), order: None, destination: None };
        self.hear(&rack, None, 0, asked)?;
        self.hear(&rack, None, 0, Said::SlotEmptied { slot, code: Some(code) })
    }

    /// A frozen counter's strokes, shown all at once.
    pub(crate) fn catches_up(&mut self, number: usize, missed: Makers) {
        let line = &mut self.lines[number];
        for (maker, count) in missed {
            line.count(maker, count);
        }
    }
}
