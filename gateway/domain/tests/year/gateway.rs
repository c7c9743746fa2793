//! The year as a whole: what befalls the gateway, and how the year begins and ends.

use super::acts::{Act, Scanned, Which};
use super::faults::Fault;
use super::floor::LINES;
use super::world::{DAY, Outcome, SECOND, Sabotage, World};

/// An hour, ms.
const HOUR: i64 = 3_600 * SECOND;

/// One thing that befalls the gateway.
#[derive(Debug, Clone, Copy)]
enum Befalls {
    Stop,
    Crash,
    Start,
    Clock,
    Tick,
    People,
}

impl World<'_> {
    /// A year from its first stroke to its last.
    pub(crate) fn year(&mut self, days: i64) -> Outcome {
        let end = days * DAY;
        let mut befalls = self.calendar(days);
        self.begins()?;
        while let Some(whose) = self.next_due(end) {
            if whose < LINES {
                self.line_is_due(whose)?;
            } else if let Some((at, what)) = befalls.pop() {
                debug_assert!(at <= self.now);
                self.befalls(what, &mut befalls)?;
            }
            if self.crash_in == Some(0) {
                self.crashes();
                self.back_later(&mut befalls);
            }
        }
        self.ends()
    }

    fn line_is_due(&mut self, line: usize) -> Outcome {
        if let Some((at, _)) = self.lines[line].script.front().filter(|(at, _)| *at > self.now) {
            let at = *at;
            self.due(at, line);
            return Ok(());
        }
        if let Some((_, act)) = self.lines[line].script.pop_front() {
            self.perform(line, act)?;
        }
        if self.lines[line].script.is_empty() {
            self.plan(line);
        }
        Ok(())
    }

    /// What befalls the gateway in the year, the latest first.
    fn calendar(&mut self, days: i64) -> Vec<(i64, Befalls)> {
        let mut all: Vec<(i64, Befalls)> =
            (1..days).map(|day| (day * DAY + HOUR, Befalls::Tick)).collect();
        all.extend((1..days / 7).map(|week| (week * 7 * DAY + 9 * HOUR, Befalls::People)));
        for what in [Befalls::Stop, Befalls::Crash, Befalls::Clock] {
            for _ in 0..4 {
                all.push((self.luck.span(DAY, days * DAY), what));
            }
        }
        all.sort_by_key(|(at, _)| -at);
        for (at, _) in &all {
            self.due(*at, LINES);
        }
        all
    }

    fn befalls(&mut self, what: Befalls, befalls: &mut Vec<(i64, Befalls)>) -> Outcome {
        let replaced = self.lines.iter().any(|line| line.now.replaced.is_some());
        match what {
            Befalls::Stop | Befalls::Crash if replaced => {
                self.comes(self.now + HOUR, what, befalls);
                Ok(())
            }
            Befalls::Stop if self.running && self.crash_in.is_none() => {
                self.stops()?;
                self.back_later(befalls);
                Ok(())
            }
            Befalls::Crash if self.running => {
                self.crash_in = Some(u32::try_from(self.luck.between(1, 30)).unwrap_or(1));
                Ok(())
            }
            Befalls::Start if !self.running => self.starts(),
            Befalls::Clock => {
                self.clock_is_set(befalls);
                Ok(())
            }
            Befalls::Tick => self.tick(),
            Befalls::People => self.people_look_into_it(),
            _ => Ok(()),
        }
    }

    /// A short while later, or a long one.
    fn back_later(&mut self, befalls: &mut Vec<(i64, Befalls)>) {
        let short = self.luck.percent(40);
        let gone = if short { self.luck.span(5, 100) } else { self.luck.span(900, 30_000) };
        self.back_at = self.now + gone * SECOND;
        self.comes(self.back_at, Befalls::Start, befalls);
    }

    fn comes(&mut self, at: i64, what: Befalls, befalls: &mut Vec<(i64, Befalls)>) {
        let place = befalls.partition_point(|(other, _)| *other > at);
        befalls.insert(place, (at, what));
        self.due(at, LINES);
    }

    /// The gateway's clock is put forward or back. Not while a total is about to wrap, and not in
    /// a break: that it wrapped, or how long the break was, nobody could then tell.
    fn clock_is_set(&mut self, befalls: &mut Vec<(i64, Befalls)>) {
        let wraps = |line: &super::line::Line| {
            line.make.source.width().is_some() && line.largest() - line.raw < 1_500
        };
        let broken = |line: &super::line::Line| !line.linked || line.unnamed;
        if !self.running || self.lines.iter().any(|line| wraps(line) || broken(line)) {
            self.comes(self.now + HOUR, Befalls::Clock, befalls);
            return;
        }
        let by = self.luck.span(-5 * HOUR, 5 * HOUR);
        self.clock_off += by;
        self.faults.happened(if by < 0 { Fault::ClockPutBack } else { Fault::ClockPutForward });
        for line in &mut self.lines {
            line.now.doubtful = true;
            line.durable.doubtful = true;
        }
    }

    fn begins(&mut self) -> Outcome {
        self.starts()?;
        for line in 0..LINES {
            self.perform(line, Act::Mend)?;
            self.perform(line, Act::PutIn(Which::Fresh, Scanned::Yes))?;
            self.poll(line)?;
            if self.lines[line].make.source.width().is_some() {
                let total = self.total(line);
                self.send(line, total)?;
            }
            self.plan(line);
        }
        Ok(())
    }

    /// Everything works again, and every line tells what it has not told yet.
    fn ends(&mut self) -> Outcome {
        if !self.running {
            self.starts()?;
        }
        self.crash_in = None;
        self.commit();
        for line in 0..LINES {
            let finish = [Act::Thaw(true), Act::Mend, Act::Scan, Act::Name];
            for act in finish {
                self.perform(line, act)?;
            }
            if self.lines[line].seat.is_none() {
                self.perform(line, Act::PutIn(Which::Fresh, Scanned::Yes))?;
            }
            for act in [Act::Strokes(1), Act::Poll, Act::Poll, Act::Poll] {
                self.now += 6 * SECOND;
                self.perform(line, act)?;
            }
            self.perform(line, Act::FinishOrder)?;
            self.perform(line, Act::Enter)?;
            if self.sabotage == Sabotage::OneMore && line == 0 {
                self.lines[line].now.strokes += 1;
            }
        }
        self.tick()
    }
}
