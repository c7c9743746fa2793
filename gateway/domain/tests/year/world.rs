//! The plant in a year: a clock, a queue of what comes next, the site under test and its ledger.

use std::cmp::Reverse;
use std::collections::{BTreeMap, BinaryHeap};

use stencilward_domain::event::{Position, Recorded};
use stencilward_domain::names::MachineName;
use stencilward_domain::signal::{Said, Signal};
use stencilward_domain::site::{Reply, Request, Site};
use stencilward_domain::state::machine_of;
use stencilward_domain::time::Timestamp;

use super::faults::{Fault, Faults};
use super::floor::{Floor, LINES, Stencil};
use super::line::{Line, Message, Shown};
use super::luck::Luck;
use super::people::{Open, Wrong};
use super::tally::Batch;

/// The start of the year, an invented one, ms.
const START: i64 = 1_795_000_000_000;
/// A second, ms.
pub(crate) const SECOND: i64 = 1_000;
/// A day, ms.
pub(crate) const DAY: i64 = 86_400 * SECOND;

/// How a run is broken on purpose, to show that the check finds it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Sabotage {
    None,
    /// Messages come without their identity.
    NoIdentities,
    /// A machine counted one stroke that it never told.
    OneMore,
}

/// What goes wrong with a year, in words.
pub(crate) type Outcome = Result<(), String>;

pub(crate) struct World<'f> {
    pub(crate) floor: &'f Floor,
    pub(crate) luck: Luck,
    pub(crate) sabotage: Sabotage,
    /// True time since the start, ms.
    pub(crate) now: i64,
    /// How far the gateway's clock is off, ms.
    pub(crate) clock_off: i64,
    pub(crate) site: Site,
    /// What replaying the durable part of the ledger gives.
    pub(crate) replayed: Site,
    pub(crate) ledger: Vec<Recorded>,
    pub(crate) durable: usize,
    pub(crate) running: bool,
    /// Signals until the gateway crashes with all since then not durable.
    pub(crate) crash_in: Option<u32>,
    pub(crate) back_at: i64,
    /// Messages heard whose events are not durable yet.
    pending: Vec<(usize, Message)>,
    /// Lines of which something was told since the last durable write.
    pub(crate) dirty: Vec<usize>,
    pub(crate) lines: Vec<Line>,
    /// Strokes truly made, by stencil.
    pub(crate) made: Vec<u64>,
    /// Strokes that anybody must think this stencil made, and another did.
    pub(crate) taken_for: Vec<u64>,
    /// In no printer.
    pub(crate) free: Vec<bool>,
    /// In its slot.
    pub(crate) stored: Vec<bool>,
    pub(crate) open: BTreeMap<Position, Open>,
    pub(crate) wrong: Vec<Wrong>,
    pub(crate) batch: Vec<Batch>,
    pub(crate) faults: Faults,
    pub(crate) signals: usize,
    pub(crate) identities: u64,
    pub(crate) orders: u64,
    queue: BinaryHeap<Reverse<(i64, usize)>>,
}

impl<'f> World<'f> {
    pub(crate) fn new(seed: u64, floor: &'f Floor, sabotage: Sabotage) -> Self {
        let mut luck = Luck::seeded(seed);
        let site = Site::new(floor.plant.clone());
        let stencils = floor.codes.len();
        let lines = (0..LINES).map(|number| Line::new(number, floor, &mut luck)).collect();
        Self {
            floor,
            luck,
            sabotage,
            now: 0,
            clock_off: 0,
            replayed: site.clone(),
            site,
            ledger: Vec::new(),
            durable: 0,
            running: false,
            crash_in: None,
            back_at: 0,
            pending: Vec::new(),
            dirty: Vec::new(),
            lines,
            made: vec![0; stencils],
            taken_for: vec![0; stencils],
            free: vec![true; stencils],
            stored: vec![false; stencils],
            open: BTreeMap::new(),
            wrong: Vec::new(),
            batch: Vec::new(),
            faults: Faults::default(),
            signals: 0,
            identities: 0,
            orders: 0,
            queue: BinaryHeap::new(),
        }
    }

    /// The gateway's own time.
    pub(crate) fn clock(&self) -> Timestamp {
        Timestamp(START + self.now + self.clock_off)
    }

    /// Something comes up at `at` for a line, or for the gateway.
    pub(crate) fn due(&mut self, at: i64, whose: usize) {
        self.queue.push(Reverse((at, whose)));
    }

    /// Turns the clock to what comes next; none when the year is over.
    pub(crate) fn next_due(&mut self, end: i64) -> Option<usize> {
        let Reverse((at, whose)) = self.queue.pop()?;
        self.now = self.now.max(at);
        (at < end).then_some(whose)
    }

    pub(crate) fn hears(&self, line: usize) -> bool {
        self.running && self.lines[line].linked
    }

    /// A machine says something.
    pub(crate) fn hear(
        &mut self,
        machine: &MachineName,
        identity: Option<String>,
        skew: i64,
        said: Said,
    ) -> Outcome {
        let received = self.clock();
        let machine_time = (skew != 0).then_some(Timestamp(received.0 + skew));
        let machine = machine.clone();
        self.signals += 1;
        let _ = self.site.hear(&Signal { machine, received, machine_time, identity, said });
        self.follow()?;
        match &mut self.crash_in {
            Some(left) => *left = left.saturating_sub(1),
            None => self.commit(),
        }
        Ok(())
    }

    /// A person asks for something, and is answered once it is durable.
    pub(crate) fn ask(&mut self, request: &Request) -> Outcome {
        let reply = self.site.ask(request, self.clock());
        self.follow()?;
        self.commit();
        match reply {
            Reply::Refused(why) => Err(format!("{request:?} is refused: {why}")),
            Reply::Done(_) | Reply::Decision(_) | Reply::Alarms { .. } => Ok(()),
        }
    }

    pub(crate) fn tick(&mut self) -> Outcome {
        if self.running {
            self.site.tick(self.clock());
            self.follow()?;
            self.commit();
        }
        Ok(())
    }

    /// Takes in what the site recorded, and holds it against what was told.
    pub(crate) fn follow(&mut self) -> Outcome {
        for recorded in self.site.take_fresh() {
            self.tally(&recorded)?;
            self.ledger.push(recorded);
        }
        self.settle()
    }

    /// Makes everything durable.
    pub(crate) fn commit(&mut self) {
        for recorded in &self.ledger[self.durable..] {
            self.replayed.replay(recorded);
        }
        self.durable = self.ledger.len();
        self.pending.clear();
        for line in std::mem::take(&mut self.dirty) {
            self.lines[line].becomes_durable();
        }
    }

    pub(crate) fn starts(&mut self) -> Outcome {
        self.site = self.replayed.clone();
        let kept = serde_json::to_string(self.site.state()).expect("a state becomes JSON");
        self.site.recall(serde_json::from_str(&kept).expect("a state can be read back"));
        self.site.start("0.0.0", self.clock());
        self.follow()?;
        self.commit();
        self.running = true;
        for line in 0..LINES {
            self.lines[line].shown = None;
            self.lines[line].read_at = i64::MIN / 2;
            if self.lines[line].linked {
                self.link_up(line)?;
            } else {
                self.link_lost(line)?;
            }
        }
        Ok(())
    }

    pub(crate) fn stops(&mut self) -> Outcome {
        self.faults.happened(Fault::GatewayStopped);
        self.commit();
        self.site.stop(self.clock());
        self.follow()?;
        self.commit();
        self.running = false;
        self.crash_in = None;
        Ok(())
    }

    /// The gateway dies: what was not durable is gone, and brokers send again what they keep.
    pub(crate) fn crashes(&mut self) {
        self.faults.happened(Fault::GatewayCrashed);
        if self.ledger.len() > self.durable {
            self.faults.happened(Fault::TailLost);
        }
        self.ledger.truncate(self.durable);
        let head = Position(self.durable as u64);
        self.open.retain(|position, _| *position <= head);
        self.wrong.retain(|wrong| wrong.index < self.durable);
        for line in std::mem::take(&mut self.dirty) {
            let line = &mut self.lines[line];
            line.now = line.durable.clone();
        }
        for (line, message) in std::mem::take(&mut self.pending).into_iter().rev() {
            let line = &mut self.lines[line];
            if line.make.kept {
                line.waiting.push_front(message);
                self.faults.happened(Fault::Redelivered);
            }
        }
        self.running = false;
        self.crash_in = None;
    }

    /// A message reaches the gateway. `again`: it has been there before.
    pub(crate) fn deliver(&mut self, number: usize, message: Message, again: bool) -> Outcome {
        let line = &mut self.lines[number];
        let teller = match message.shown {
            Shown::Seat(_) => line.printer.clone(),
            _ => line.teller.clone(),
        };
        let said = line.shows(message.shown, again, self.floor);
        let bears = line.make.identities && self.sabotage != Sabotage::NoIdentities;
        let identity = bears.then(|| message.identity.to_string());
        line.last = Some(message);
        line.read_at = self.now;
        let skew = line.skew;
        if !again {
            self.pending.push((number, message));
        }
        self.dirty.push(number);
        self.hear(&teller, identity, skew, said)?;
        self.believed(number)
    }

    /// Something to say: now, or later where a broker keeps it.
    pub(crate) fn send(&mut self, number: usize, shown: Shown) -> Outcome {
        self.identities += 1;
        let message = Message { identity: self.identities, shown };
        if self.hears(number) {
            return self.deliver(number, message, false);
        }
        if self.lines[number].make.kept {
            self.lines[number].waiting.push_back(message);
        } else if matches!(shown, Shown::Boards { .. }) {
            self.faults.happened(Fault::OrderMessageLost);
        }
        Ok(())
    }

    /// A printer makes strokes.
    pub(crate) fn stroke(&mut self, number: usize, count: u64) -> Option<Stencil> {
        let line = &mut self.lines[number];
        let maker = line.seat?;
        line.stroke(count);
        self.made[usize::from(maker)] += count;
        if let Some(other) = line.taken_for {
            self.taken_for[usize::from(other)] += count;
        }
        Some(maker)
    }

    /// What happened last at the line that a failure names.
    pub(crate) fn story(&self, why: &str) -> String {
        let Some(line) = self.lines.iter().find(|line| why.contains(line.printer.as_str())) else {
            return String::new();
        };
        let mut told = format!("{:?} {:?}\n{:?}\n", line.make, line.now, line.shown);
        for (at, act) in &line.story {
            told.push_str(&format!("{:>12.1} s {act:?}\n", *at as f64 / 1_000.0));
        }
        let about = |recorded: &&Recorded| {
            machine_of(&recorded.fact.event) == Some(&line.printer)
                || machine_of(&recorded.fact.event) == Some(&line.teller)
        };
        let last: Vec<_> = self.ledger.iter().rev().filter(about).take(30).collect();
        for recorded in last.into_iter().rev() {
            let at = recorded.fact.at.0 - START - self.clock_off;
            let event = &recorded.fact.event;
            told.push_str(&format!("{} {:.1} s {event:?}\n", recorded.position, at as f64 / 1e3));
        }
        told
    }
}
