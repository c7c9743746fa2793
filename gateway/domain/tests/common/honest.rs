//! A printer that counts honestly on a floor where everything else goes wrong.
//!
//! It keeps a log of which stencil made each stroke; the gateway hears of them through polls or
//! messages, over a link that breaks, before and after restarts. What nobody could know is kept
//! out: a stencil that came back after another one printed, all of it unseen.

use std::collections::BTreeSet;

use stencilward_domain::machine::Machine;
use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::{Reading, Said, Width};
use stencilward_domain::state::State;

use super::floor::Floor;
use super::plant::{MUTE, NAMER};
use super::words::{
    code, counter, link_lost, link_resumed, link_up, machine, remove, seat, seated,
};

/// Seconds that a break may last and still be trusted, by the default policy.
const TRUSTED: i64 = 120;
/// Seconds that one stroke takes.
const STROKE: i64 = super::plant::CYCLE as i64;

/// When the machine, or an operator, says what is in it after a break.
#[derive(Debug, Clone, Copy, PartialEq)]
pub(crate) enum Naming {
    First,
    AfterARead,
    TooLate,
}

/// One thing that happens.
#[derive(Debug, Clone, Copy)]
pub(crate) enum Step {
    Strokes(u64),
    Poll,
    Change(Option<&'static str>),
    LinkLost,
    LinkUp(bool, Naming),
    Stop,
    Crash,
    Start,
    PowerCycle,
    Wait(i64),
    Tick,
}

/// What kind of printer it is.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Make {
    pub(crate) names: bool,
    pub(crate) reading: Reading,
    pub(crate) width: Width,
    pub(crate) first: u64,
}

/// The printer, the floor, and the truth.
pub(crate) struct Honest {
    pub(crate) floor: Floor,
    make: Make,
    raw: u64,
    seat: Option<&'static str>,
    /// Which stencil made each stroke.
    pub(crate) log: Vec<&'static str>,
    linked: bool,
    running: bool,
    /// Said while nobody listened, or not confirmed yet.
    waiting: Vec<Said>,
    /// Events that are durable for certain.
    durable: usize,
    said: Vec<Said>,
    broken_since: Option<i64>,
    unsettled: bool,
}

impl Honest {
    pub(crate) fn new(make: Make) -> Self {
        let mut printer = Self {
            floor: Floor::new(),
            make,
            raw: make.first,
            seat: Some("A"),
            log: Vec::new(),
            linked: true,
            running: true,
            waiting: Vec::new(),
            durable: 0,
            said: Vec::new(),
            broken_since: None,
            unsettled: false,
        };
        printer.floor.says(printer.name(), link_up());
        printer.name_seat();
        printer.say_total();
        printer.durable = printer.floor.ledger.len();
        printer
    }

    pub(crate) fn name(&self) -> &'static str {
        if self.make.names { NAMER } else { MUTE }
    }

    fn reports(&self) -> bool {
        self.make.reading == Reading::Reported
    }

    fn hears(&self) -> bool {
        self.linked && self.running
    }

    fn total(&self) -> Said {
        Said::CounterRead {
            counter: counter("total"),
            raw: self.raw,
            width: self.make.width,
            reading: self.make.reading,
        }
    }

    fn say(&mut self, said: Said) {
        if self.hears() {
            self.floor.says(self.name(), said.clone());
            self.said.push(said);
        } else {
            self.waiting.push(said);
        }
    }

    fn say_total(&mut self) {
        let total = self.total();
        self.say(total);
    }

    /// The machine, or an operator with a scanner, says what is in it.
    fn name_seat(&mut self) {
        if self.make.names {
            self.say(self.seat.map_or(Said::Removed, seated));
        } else if self.running {
            let request = self.seat.map_or_else(|| remove(MUTE), |name| seat(name, MUTE));
            self.floor.does(&request);
        }
    }

    /// Does one thing. What the one before wrote is durable by then.
    pub(crate) fn step(&mut self, step: Step) {
        if !matches!(step, Step::Crash) {
            self.durable = self.floor.ledger.len();
            self.said.clear();
            self.settles();
        }
        match step {
            Step::Strokes(count) => self.strokes(count),
            Step::Poll if !self.reports() && self.hears() => self.say_total(),
            Step::Change(to) => self.change(to),
            Step::LinkLost if self.hears() => {
                self.floor.says(self.name(), link_lost());
                self.linked = false;
                self.breaks();
            }
            Step::LinkUp(resumed, naming) if self.running && !self.linked => {
                self.link_up(resumed && self.reports(), naming);
            }
            Step::Stop if self.running && !self.unsettled => {
                self.floor.site.stop(self.floor.now);
                self.floor.ledger.extend(self.floor.site.take_fresh());
                self.goes_down();
            }
            Step::Crash if self.running && !self.unsettled => {
                self.floor.ledger.truncate(self.durable);
                let lost = std::mem::take(&mut self.said);
                self.waiting.splice(0..0, lost);
                self.goes_down();
            }
            Step::Start if !self.running => self.start(),
            Step::PowerCycle if self.hears() => self.power_cycle(),
            Step::Wait(seconds) => {
                self.floor.after(seconds);
            }
            Step::Tick if self.running => {
                self.floor.tick();
            }
            _ => {}
        }
    }

    fn strokes(&mut self, count: u64) {
        let Some(seat) = self.seat else { return };
        for _ in 0..count {
            self.floor.after(STROKE);
            let largest = self.make.width.largest();
            self.raw = if self.raw == largest { 0 } else { self.raw + 1 };
            self.log.push(seat);
            if self.reports() {
                self.say_total();
            }
        }
    }

    fn change(&mut self, to: Option<&'static str>) {
        self.floor.after(STROKE);
        if to != self.seat {
            self.seat = to;
            self.name_seat();
        }
    }

    fn breaks(&mut self) {
        let now = self.floor.now.0;
        self.broken_since.get_or_insert(now);
    }

    fn goes_down(&mut self) {
        self.running = false;
        self.linked = false;
        self.breaks();
    }

    fn start(&mut self) {
        self.floor.after(1);
        if !self.make.names {
            self.keep_to_what_can_be_known();
        }
        self.floor.start_again();
        self.running = true;
        if !self.make.names && self.known_seat() != self.seat {
            self.name_seat();
        }
    }

    fn link_up(&mut self, resumed: bool, naming: Naming) {
        self.linked = true;
        if resumed {
            self.floor.says(self.name(), link_resumed());
            for said in std::mem::take(&mut self.waiting) {
                self.say(said);
            }
            self.broken_since = None;
            return;
        }
        self.waiting.clear();
        self.unsettled = self.reports();
        self.keep_to_what_can_be_known();
        self.floor.says(self.name(), link_up());
        let certain = self.known_seat() == self.seat && self.unread().all(|n| Some(n) == self.seat);
        if naming != Naming::First && !self.reports() {
            self.say_total();
        }
        if naming == Naming::TooLate && certain {
            self.floor.after(15).tick();
        }
        self.name_seat();
        self.broken_since = None;
    }

    /// What a reporting machine did while its messages were lost shows with its next one. That it
    /// may have been a third stencil is not in the ledger: a second break before that is kept out.
    fn settles(&mut self) {
        let unread = self.unread().next().is_some();
        self.unsettled &= unread;
    }

    /// The total starts again at zero; no stroke is lost with it.
    fn power_cycle(&mut self) {
        if !self.reports() {
            self.say_total();
        }
        let near_the_end = self.make.width.largest() - self.raw < 20_000;
        if self.raw == 0 || near_the_end || self.unread().next().is_some() {
            return;
        }
        self.raw = 0;
        self.say_total();
        self.durable = self.floor.ledger.len();
        self.said.clear();
    }

    /// The stencil that the ledger has in the printer.
    fn known_seat(&self) -> Option<&'static str> {
        let seat = self.by_the_ledger().seat.map(|seat| seat.code);
        ["A", "B", "C"].into_iter().find(|name| seat.as_ref() == Some(&code(name)))
    }

    /// What the ledger alone says of the printer.
    fn by_the_ledger(&self) -> Machine {
        let mut state = State::default();
        for recorded in &self.floor.ledger {
            state.apply(recorded);
        }
        let known = state.machines.get(&machine(self.name()));
        known.cloned().expect("a printer heard of")
    }

    /// Who made the strokes that the gateway has not heard of yet.
    fn unread(&self) -> impl Iterator<Item = &'static str> + '_ {
        let known = self.by_the_ledger();
        let accounted = known.booked + known.unattributed;
        let accounted = usize::try_from(accounted).expect("a small number");
        self.log.iter().skip(accounted).copied()
    }

    /// A stroke that is reported is the present stencil's, one that is read that of the candidates.
    /// A stencil that came and went unseen, while only another one is known to have been there:
    /// then the break is made longer, and the printer is found empty.
    fn keep_to_what_can_be_known(&mut self) {
        let since = self.broken_since.unwrap_or(self.floor.now.0);
        let long = self.floor.now.0 - since > TRUSTED * 1_000;
        let (before, after) = (self.known_seat(), self.seat);
        let counters = self.by_the_ledger().counters;
        let mut believed: BTreeSet<StencilCode> =
            counters.values().flat_map(|counter| counter.candidates.clone()).collect();
        if self.reports() {
            believed.clear();
        }
        believed.extend(after.map(code));
        let confirmed = before == after && before.is_some();
        if believed.len() > 1 || (long && !confirmed) {
            return;
        }
        if self.unread().any(|name| !believed.contains(&code(name))) {
            self.floor.after(TRUSTED + 1);
            if confirmed {
                self.seat = None;
            }
        }
    }

    /// Everything works again, and the printer is read a last time.
    pub(crate) fn settle(&mut self) {
        self.step(Step::Start);
        self.step(Step::LinkUp(false, Naming::First));
        if self.reports() {
            self.step(Step::Change(Some("A")));
            self.step(Step::Strokes(1));
        } else {
            self.step(Step::Poll);
        }
    }
}
