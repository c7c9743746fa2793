//! What comes next at a line: short scripts, drawn by lot.

use stencilward_domain::signal::MachineState;

use super::acts::{Act, Scanned, Which};
use super::floor::LINES;
use super::makes::Source;
use super::world::{SECOND, World};

/// A second, a minute and an hour of a script, ms.
const MINUTE: i64 = 60 * SECOND;
const HOUR: i64 = 60 * MINUTE;

/// Acts of one line, one after the other.
struct Script(i64, Vec<(i64, Act)>);

impl Script {
    fn then(&mut self, after: i64, act: Act) -> &mut Self {
        self.0 += after;
        self.1.push((self.0, act));
        self
    }

    fn change(&mut self, which: Which, scanned: Scanned) -> &mut Self {
        self.then(30 * SECOND, Act::TakeOut).then(4 * MINUTE, Act::PutIn(which, scanned))
    }

    fn polls(&mut self, count: usize) -> &mut Self {
        for _ in 0..count {
            self.then(2 * SECOND, Act::Poll);
        }
        self
    }
}

impl World<'_> {
    /// An act comes up at a line, after those that come up before it.
    pub(crate) fn comes_up(&mut self, number: usize, at: i64, act: Act) {
        let script = &mut self.lines[number].script;
        let place = script.partition_point(|(other, _)| *other <= at);
        script.insert(place, (at, act));
        self.due(at, number);
    }

    /// All that comes up at a line comes so much later.
    pub(crate) fn waits(&mut self, number: usize, later: i64) {
        for (at, _) in &mut self.lines[number].script {
            *at += later;
        }
    }

    /// Production of so many strokes, counted as the line counts.
    fn prints(&mut self, number: usize, script: &mut Script, most: u64) {
        let count = if self.luck.percent(25) {
            self.luck.between(1, 5)
        } else {
            self.luck.between(1, most)
        };
        let takes = count.cast_signed() * self.luck.span(6_000, 15_000);
        let source = self.lines[number].make.source;
        if source.follows_orders() || self.lines[number].order.is_some() {
            script.then(takes * 3, Act::Panels(count.div_ceil(4)));
        } else {
            script.then(takes, Act::Strokes(count));
        }
    }

    /// Draws the line's next script.
    pub(crate) fn plan(&mut self, number: usize) {
        let start = self.now + self.luck.span(10 * MINUTE, 64 * HOUR);
        let mut script = Script(start, Vec::new());
        script.then(0, Act::Poll);
        let line = &self.lines[number];
        let near_its_end = line.make.source.width().is_some() && line.largest() - line.raw < 2_500;
        let orders =
            line.make.source.follows_orders() || line.make.second == super::makes::Second::Order;
        if orders && line.order.is_none() {
            script.then(SECOND, Act::StartOrder);
        }
        match self.luck.between(0, 100) {
            _ if near_its_end && self.luck.percent(60) => self.long_break(number, &mut script),
            0..=34 => self.run(number, &mut script),
            35..=54 => self.changes(number, &mut script),
            55..=61 => self.short_break(number, &mut script),
            62..=73 => self.long_break(number, &mut script),
            74..=83 => self.counter_trouble(number, &mut script),
            84..=89 => self.freezes(number, &mut script),
            90..=93 => self.repeats(number, &mut script),
            _ => self.machine_trouble(number, &mut script),
        }
        if orders && self.luck.percent(40) {
            script.then(10 * SECOND, Act::FinishOrder);
        }
        if self.lines[number].make.source == Source::Hand {
            script.then(MINUTE, Act::Enter);
        }
        for (at, act) in script.1 {
            self.comes_up(number, at, act);
        }
    }

    fn run(&mut self, number: usize, script: &mut Script) {
        for _ in 0..self.luck.between(1, 6) {
            self.prints(number, script, 400);
            script.then(SECOND, Act::Poll);
        }
    }

    /// Strokes of the one before and the one after may lie between two reads.
    fn changes(&mut self, number: usize, script: &mut Script) {
        let unread = self.luck.percent(30);
        self.prints(number, script, 100);
        if !unread {
            script.then(SECOND, Act::Poll);
        }
        let names = self.lines[number].make.names;
        let forgotten = !names && self.luck.percent(15);
        let unlisted = names && self.luck.percent(4);
        let which = if unlisted { Which::Unlisted } else { Which::Fresh };
        script.change(which, if forgotten { Scanned::Forgotten } else { Scanned::Yes });
        if !unread {
            script.then(SECOND, Act::Poll);
        }
        self.prints(number, script, 200);
        script.then(SECOND, Act::Poll);
        if forgotten {
            self.prints(number, script, 200);
            script.then(SECOND, Act::Poll);
            if self.luck.percent(70) {
                script.then(HOUR, Act::Scan);
            }
        }
        if unlisted {
            script.change(Which::Fresh, Scanned::Yes);
        }
    }

    /// Shorter than a change of stencil takes.
    fn short_break(&mut self, number: usize, script: &mut Script) {
        self.prints(number, script, 40);
        script.then(0, Act::Poll).then(SECOND, Act::Break);
        let strokes = self.luck.between(1, 8);
        if self.lines[number].order.is_none() {
            script.then(50 * SECOND, Act::Strokes(strokes));
        }
        script.then(40 * SECOND, Act::Mend).then(30 * SECOND, Act::Poll);
    }

    /// Anything may happen while nobody looks.
    fn long_break(&mut self, number: usize, script: &mut Script) {
        self.prints(number, script, 60);
        script.then(SECOND, Act::Poll).then(SECOND, Act::Break);
        script.then(10 * MINUTE, Act::Tick);
        for _ in 0..self.luck.between(0, 3) {
            self.prints(number, script, 400);
        }
        let unseen = if self.luck.percent(50) { Scanned::Unseen } else { Scanned::Yes };
        match self.luck.between(0, 4) {
            0 => {
                script.change(Which::Fresh, unseen);
                self.prints(number, script, 200);
            }
            1 => {
                self.faults.happened(super::faults::Fault::ChangedAndBackUnseen);
                script.change(Which::Visitor, Scanned::Unseen);
                self.prints(number, script, 200);
                script.change(Which::Former, unseen);
                self.prints(number, script, 50);
            }
            2 => {
                script.then(10 * SECOND, Act::PowerCycle);
                self.prints(number, script, 300);
            }
            _ => {}
        }
        script.then(self.luck.span(10 * MINUTE, 5 * HOUR), Act::Mend);
        script.then(30 * SECOND, Act::Poll);
        if self.luck.percent(50) {
            self.prints(number, script, 100);
        }
        if self.luck.percent(80) {
            script.then(MINUTE, Act::Scan);
        }
        script.then(2 * SECOND, Act::Poll);
    }

    fn counter_trouble(&mut self, number: usize, script: &mut Script) {
        self.prints(number, script, 60);
        script.polls(3);
        match self.luck.between(0, 6) {
            0 | 1 => {
                let count = self.luck.between(1, 6);
                script.then(count.cast_signed() * 6_000, Act::Strokes(count));
                script.then(SECOND, Act::PowerCycle);
                self.prints(number, script, 60);
                script.polls(2);
            }
            2 => {
                script.then(2 * SECOND, Act::MisreadAsZero);
            }
            3 => {
                script.then(2 * SECOND, Act::GlitchUp);
            }
            4 => {
                script.then(20 * SECOND, Act::OutOfOrder);
            }
            _ => {
                script.then(2 * SECOND, Act::Replace).polls(1);
                script.then(7 * SECOND, Act::Strokes(1));
            }
        }
        script.polls(4);
        self.prints(number, script, 60);
        script.then(SECOND, Act::Poll);
    }

    fn freezes(&mut self, number: usize, script: &mut Script) {
        script.then(MINUTE, Act::Freeze);
        for _ in 0..self.luck.between(1, 5) {
            self.prints(number, script, 60);
            script.then(SECOND, Act::Poll);
        }
        let caught_up = self.luck.percent(70);
        script.then(SECOND, Act::Thaw(caught_up)).polls(4);
    }

    fn repeats(&mut self, number: usize, script: &mut Script) {
        for _ in 0..3 {
            self.prints(number, script, 20);
            script.then(0, Act::Poll).then(0, Act::Repeat);
        }
    }

    fn machine_trouble(&mut self, number: usize, script: &mut Script) {
        script.then(MINUTE, Act::State(MachineState::Down));
        script.then(HOUR, Act::State(MachineState::Running)).then(SECOND, Act::ClockWrong);
        self.prints(number, script, 60);
        script.then(SECOND, Act::Poll);
        if number < LINES / 2 {
            script.then(MINUTE, Act::Scan);
        }
    }
}
