//! What goes wrong at a line: links, counters, messages.

use stencilward_domain::names::MachineName;
use stencilward_domain::signal::{Said, Width};

use super::acts::Act;
use super::faults::Fault;
use super::floor::STENCILS;
use super::line::{Line, Shown};
use super::makes::Source;
use super::world::{Outcome, SECOND, World};

/// A total below this may have been reached since a restart, in the longest outage of the year;
/// so near to its end it may have wrapped. Within it a restart or a misread cannot be told from
/// honest counting by anybody, unless it is looked at closely.
pub(crate) const UNCLEAR: u64 = 20_000;
/// The same, for reads that follow each other closely.
const CLOSELY: u64 = 3_000;
/// A break that is trusted, by the default policy, ms.
const TRUSTED: i64 = 120 * SECOND;
/// How closely, ms.
const MINUTES: i64 = 600 * SECOND;

impl Line {
    /// A step back to zero, now, cannot be taken for anything else.
    fn is_clear(&self, margin: u64) -> bool {
        self.raw > margin && self.largest() - self.raw > margin
    }

    /// The value that would show the last restart to have been a misread.
    fn recovers(&self) -> u64 {
        self.raw_before.saturating_add(self.tally - self.base)
    }

    /// Machines of the line with a link of their own.
    fn linked_machines(&self) -> Vec<MachineName> {
        let mut machines = vec![self.teller.clone()];
        if self.make.names && self.make.source.is_module() {
            machines.push(self.printer.clone());
        }
        machines
    }

    /// Sets what is a physical fact, which no crash of the gateway takes back.
    fn truly(&mut self, change: impl Fn(&mut super::line::Told)) {
        change(&mut self.now);
        change(&mut self.durable);
    }
}

impl World<'_> {
    pub(crate) fn link_up(&mut self, number: usize) -> Outcome {
        let line = &mut self.lines[number];
        let resumed = line.make.kept;
        line.unnamed = line.make.names;
        let names = line.make.names;
        for machine in line.linked_machines() {
            self.hear(&machine, None, 0, Said::LinkUp { resumed })?;
        }
        while self.hears(number)
            && let Some(message) = self.lines[number].waiting.pop_front()
        {
            self.deliver(number, message, false)?;
        }
        let aside = |act: &Act| matches!(act, Act::Wash(_) | Act::Store(_) | Act::Tick);
        let next = self.lines[number].script.iter().map(|(_, act)| act).find(|act| !aside(act));
        let printing = matches!(next, Some(Act::Strokes(_) | Act::Panels(_)));
        if !printing && !names {
            return self.poll(number);
        }
        match self.luck.between(0, 3) {
            _ if !names => Ok(()),
            0 => self.perform(number, Act::Name),
            1 if !printing => {
                self.poll(number)?;
                self.comes_up(number, self.now + 4 * SECOND, Act::Name);
                Ok(())
            }
            _ => {
                self.faults.happened(Fault::NamedTooLate);
                if !printing {
                    self.poll(number)?;
                }
                self.comes_up(number, self.now + 12 * SECOND, Act::Tick);
                self.comes_up(number, self.now + 20 * SECOND, Act::Name);
                Ok(())
            }
        }
    }

    pub(crate) fn link_lost(&mut self, number: usize) -> Outcome {
        for machine in self.lines[number].linked_machines() {
            self.hear(&machine, None, 0, Said::LinkLost { why: "the cable is out".to_owned() })?;
        }
        Ok(())
    }

    pub(crate) fn breaks(&mut self, number: usize) -> Outcome {
        let line = &mut self.lines[number];
        (line.linked, line.broke_at) = (false, self.now);
        if self.running { self.link_lost(number) } else { Ok(()) }
    }

    pub(crate) fn mends(&mut self, number: usize) -> Outcome {
        let line = &mut self.lines[number];
        if !line.linked {
            let short = self.now - line.broke_at <= TRUSTED;
            self.faults.happened(if short { Fault::ShortBreak } else { Fault::LongBreak });
        }
        line.linked = true;
        if self.running { self.link_up(number) } else { Ok(()) }
    }

    pub(crate) fn goes_wrong(&mut self, number: usize, act: Act) -> Outcome {
        match act {
            Act::PowerCycle => self.power_cycle(number),
            Act::Replace => self.replace(number),
            Act::Freeze => {
                let line = &mut self.lines[number];
                if line.make.source.is_polled() && line.largest() - line.raw > CLOSELY {
                    line.frozen = Some(Vec::new());
                }
                Ok(())
            }
            Act::Thaw(caught_up) => self.thaw(number, caught_up),
            Act::Repeat => self.repeat(number),
            Act::OutOfOrder => self.out_of_order(number),
            Act::MisreadAsZero => self.misread(number, 0),
            Act::GlitchUp => {
                let far = self.luck.between(UNCLEAR, 2 * UNCLEAR);
                let raw = self.lines[number].raw.saturating_add(far);
                self.misread(number, raw)
            }
            _ => Ok(()),
        }
    }

    /// The total begins again at zero.
    fn power_cycle(&mut self, number: usize) -> Outcome {
        let heard = self.hears(number);
        let margin =
            if self.now - self.lines[number].read_at < MINUTES { CLOSELY } else { UNCLEAR };
        let line = &mut self.lines[number];
        let polled = line.make.source.is_polled();
        let clear = match line.make.source {
            Source::Polled(_) | Source::Pulses(_) if heard => line.is_clear(margin),
            Source::Polled(_) | Source::Pulses(_) => line.raw > UNCLEAR,
            Source::Sent(_) if heard => line.is_clear(UNCLEAR),
            Source::Sent(_) => line.raw > UNCLEAR && !line.make.kept,
            _ => false,
        };
        if !clear || line.frozen.is_some() || line.now.replaced.is_some() || line.now.doubtful {
            return Ok(());
        }
        line.raw_before = line.now.raw;
        line.raw = 0;
        line.base = line.tally;
        self.faults.happened(if heard { Fault::RestartHeard } else { Fault::RestartInBreak });
        if heard && polled && self.luck.percent(30) { self.poll(number) } else { Ok(()) }
    }

    /// Another counter, with a value of its own, far from what the old one could have reached.
    fn replace(&mut self, number: usize) -> Outcome {
        let line = &self.lines[number];
        let width = line.make.source.width();
        if !line.make.source.is_polled() || !self.calm(number) || self.crash_in.is_some() {
            return Ok(());
        }
        let old = [line.raw, line.now.raw, line.recovers()];
        let highest = if width == Some(Width::Bits16) { 60_000 } else { 4_000_000_000 };
        let Some(first) = (0..20)
            .map(|_| self.luck.between(UNCLEAR, highest))
            .find(|first| old.iter().all(|old| first.abs_diff(*old) > UNCLEAR))
        else {
            return Ok(());
        };
        let line = &mut self.lines[number];
        line.raw = first;
        line.base = line.tally;
        line.truly(|told| told.replaced = Some(first));
        self.faults.happened(Fault::CounterReplaced);
        Ok(())
    }

    fn thaw(&mut self, number: usize, caught_up: bool) -> Outcome {
        let Some(missed) = self.lines[number].frozen.take() else { return Ok(()) };
        if caught_up {
            self.faults.happened(Fault::FrozenAndCaughtUp);
            self.lines[number].truly(|told| told.doubtful = true);
            self.catches_up(number, missed);
            return Ok(());
        }
        self.faults.happened(Fault::FrozenForGood);
        if self.running && self.luck.percent(50) {
            for (stencil, count) in missed {
                if usize::from(stencil) < STENCILS {
                    self.enter(number, stencil, count)?;
                }
            }
        }
        Ok(())
    }

    /// The last message comes a second time.
    fn repeat(&mut self, number: usize) -> Outcome {
        let line = &self.lines[number];
        let Some(message) = line.last.filter(|_| self.hears(number)) else { return Ok(()) };
        let total = matches!(message.shown, Shown::Total { .. });
        if line.make.identities {
            self.faults.happened(Fault::MessageRepeated);
        } else if total && self.calm(number) {
            self.faults.happened(Fault::ReadRepeated);
        } else {
            return Ok(());
        }
        self.deliver(number, message, true)
    }

    /// A read overtakes the one before it.
    fn out_of_order(&mut self, number: usize) -> Outcome {
        let line = &self.lines[number];
        let late = line.raw;
        if !line.make.source.is_polled() || !self.calm(number) || !line.is_clear(UNCLEAR) {
            return Ok(());
        }
        self.stroke(number, 2);
        self.poll(number)?;
        self.faults.happened(Fault::OutOfOrder);
        self.misread(number, late)
    }

    /// One read shows what the counter does not.
    fn misread(&mut self, number: usize, raw: u64) -> Outcome {
        let line = &self.lines[number];
        if !line.make.source.is_polled() || !self.calm(number) || !line.is_clear(UNCLEAR) {
            return Ok(());
        }
        if raw.abs_diff(line.recovers()) < CLOSELY {
            return Ok(());
        }
        match raw {
            0 => self.faults.happened(Fault::MisreadAsZero),
            raw if raw > line.raw => self.faults.happened(Fault::GlitchUp),
            _ => {}
        }
        let line = &self.lines[number];
        let (teller, said) = (line.teller.clone(), line.reads(raw, self.floor));
        self.hear(&teller, None, 0, said)
    }

    /// All is told, nothing is doubted, and the counter was read just now.
    fn calm(&self, number: usize) -> bool {
        let line = &self.lines[number];
        self.hears(number)
            && !line.unnamed
            && line.now.replaced.is_none()
            && !line.now.doubtful
            && line.frozen.is_none()
            && line.shown == Some(self.total(number))
            && line.is_told()
    }
}
