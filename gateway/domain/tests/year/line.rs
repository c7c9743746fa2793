//! One line: what its machines truly do, and what they have told so far.

use std::collections::VecDeque;

use stencilward_domain::names::{CounterName, MachineName};
use stencilward_domain::signal::Width;

use super::acts::Act;
use super::floor::{Floor, Stencil, make_of};
use super::luck::Luck;
use super::makes::{Make, Source};

/// Acts kept to tell the story of a failure.
const STORY: usize = 40;

/// Strokes of one stencil in a row.
#[derive(Debug, Clone, Copy)]
struct Stretch {
    /// How many strokes the line's tally has after them.
    end: u64,
    maker: Stencil,
    /// Whose anybody must think they are, when that is another's.
    taken_for: Stencil,
}

/// Strokes by stencil, in the order they were made.
pub(crate) type Makers = Vec<(Stencil, u64)>;

/// What a message or a read shows.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Shown {
    /// A total: its value, the tally then, and the tally when it last began at anything but its
    /// former value.
    Total { raw: u64, tally: u64, base: u64 },
    /// Strokes from one tally to another.
    Strokes { from: u64, to: u64 },
    /// What is in the printer.
    Seat(Option<Stencil>),
    /// So many boards more of an order, the last of them made at this tally.
    Boards { count: u64, order: u64, tally: u64 },
}

/// Something said, with its identity.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Message {
    pub(crate) identity: u64,
    pub(crate) shown: Shown,
}

/// What the gateway must have understood so far.
#[derive(Debug, Clone, Default)]
pub(crate) struct Told {
    /// The tally up to which all is told, or lost.
    pub(crate) heard: u64,
    /// The total's value then.
    pub(crate) raw: u64,
    /// The tally when the total that was told last had begun.
    pub(crate) base: u64,
    /// Strokes told.
    pub(crate) strokes: u64,
    /// Strokes that were counted and lost untold.
    pub(crate) lost: u64,
    /// Strokes that the gateway keeps open and nobody made.
    pub(crate) fake: u64,
    /// The value a replaced counter began with, until it is believed.
    pub(crate) replaced: Option<u64>,
    /// The tally that the last board told of has reached.
    pub(crate) reach: u64,
    /// Boards told of the running order.
    pub(crate) boards: u64,
    /// Strokes of the running order that nobody told of, by their tallies, the latest last.
    pub(crate) untold: Vec<(u64, u64)>,
    /// The gateway may doubt a true value: its clock was put back, or the counter had frozen.
    pub(crate) doubtful: bool,
}

/// An order at work.
#[derive(Debug, Clone, Copy)]
pub(crate) struct Order {
    pub(crate) number: u64,
    pub(crate) boards: u64,
    pub(crate) at_once: u64,
    pub(crate) each: u64,
    pub(crate) set_up: u64,
}

impl Order {
    /// Strokes that a printer makes for so many boards: whole panels, each printed `each` times.
    pub(crate) fn strokes(&self, boards: u64) -> u64 {
        if boards == 0 {
            return 0;
        }
        self.set_up + self.each * (boards.div_ceil(self.at_once))
    }
}

/// A line.
pub(crate) struct Line {
    pub(crate) make: Make,
    pub(crate) printer: MachineName,
    /// The machine that tells of the strokes.
    pub(crate) teller: MachineName,
    /// The counter's name in the ledger.
    pub(crate) counter: CounterName,
    pub(crate) linked: bool,
    pub(crate) broke_at: i64,
    /// The link is up and the printer has yet to name its stencil.
    pub(crate) unnamed: bool,
    pub(crate) seat: Option<Stencil>,
    pub(crate) seat_before: Option<Stencil>,
    /// The one before a visitor.
    pub(crate) former: Option<Stencil>,
    /// Nobody told of the stencil that is in it, or was last.
    pub(crate) untold: bool,
    /// An operator scanned the last one out.
    pub(crate) scanned_out: bool,
    /// The stencil that the gateway was told of last.
    pub(crate) believed: Option<Stencil>,
    /// The stencil anybody must think is seated, when another is.
    pub(crate) taken_for: Option<Stencil>,
    pub(crate) raw: u64,
    pub(crate) frozen: Option<Makers>,
    /// Strokes counted, ever.
    pub(crate) tally: u64,
    pub(crate) base: u64,
    /// The total's value before it last began at zero.
    pub(crate) raw_before: u64,
    log: VecDeque<Stretch>,
    pub(crate) order: Option<Order>,
    /// Said while nobody listened.
    pub(crate) waiting: VecDeque<Message>,
    pub(crate) last: Option<Message>,
    pub(crate) now: Told,
    /// What is told in the durable part of the ledger.
    pub(crate) durable: Told,
    /// What was shown last.
    pub(crate) shown: Option<Shown>,
    /// When its total was last shown.
    pub(crate) read_at: i64,
    /// How wrong the machine's clock is, ms.
    pub(crate) skew: i64,
    pub(crate) script: VecDeque<(i64, Act)>,
    pub(crate) story: VecDeque<(i64, Act)>,
}

impl Line {
    pub(crate) fn new(number: usize, floor: &Floor, luck: &mut Luck) -> Self {
        let make = make_of(number);
        let printer = floor.printers[number].clone();
        let module = &floor.modules[number];
        let teller = if make.source.is_module() { module.clone() } else { printer.clone() };
        let counter = match make.source {
            Source::Pulses(_) => CounterName::new(&format!("{module}/total")).unwrap(),
            _ => floor.total.clone(),
        };
        let raw = make.source.width().map_or(0, |width| first_value(width, luck));
        Self {
            make,
            printer,
            teller,
            counter,
            linked: false,
            broke_at: 0,
            unnamed: false,
            seat: None,
            seat_before: None,
            former: None,
            untold: false,
            scanned_out: false,
            believed: None,
            taken_for: None,
            raw,
            frozen: None,
            tally: 0,
            base: 0,
            raw_before: 0,
            log: VecDeque::new(),
            order: None,
            waiting: VecDeque::new(),
            last: None,
            now: Told { raw, ..Told::default() },
            durable: Told { raw, ..Told::default() },
            shown: None,
            read_at: i64::MIN / 2,
            skew: 0,
            script: VecDeque::new(),
            story: VecDeque::new(),
        }
    }

    pub(crate) fn largest(&self) -> u64 {
        self.make.source.width().map_or(u64::MAX, Width::largest)
    }

    /// Makes strokes; a frozen counter counts none.
    pub(crate) fn stroke(&mut self, count: u64) {
        let Some(maker) = self.seat else { return };
        match &mut self.frozen {
            Some(missed) => missed.push((maker, count)),
            None => self.count(maker, count),
        }
    }

    /// Strokes that the counter shows.
    pub(crate) fn count(&mut self, maker: Stencil, count: u64) {
        self.tally += count;
        self.raw = if self.largest() - self.raw >= count {
            self.raw + count
        } else {
            count - 1 - (self.largest() - self.raw)
        };
        let taken_for = self.taken_for.unwrap_or(maker);
        let end = self.tally;
        match self.log.back_mut() {
            Some(last) if (last.maker, last.taken_for) == (maker, taken_for) => last.end = end,
            _ => self.log.push_back(Stretch { end, maker, taken_for }),
        }
    }

    /// Who made the strokes between two tallies, and whose they are taken for where that differs.
    pub(crate) fn made(&self, from: u64, to: u64) -> (Makers, Makers) {
        let (mut makers, mut taken) = (Makers::new(), Makers::new());
        let mut start = from;
        for stretch in self.log.iter().filter(|stretch| stretch.end > from) {
            if start >= to {
                break;
            }
            let count = stretch.end.min(to) - start;
            start += count;
            add(&mut makers, stretch.maker, count);
            if stretch.taken_for != stretch.maker {
                add(&mut taken, stretch.taken_for, count);
            }
        }
        (makers, taken)
    }

    /// What nobody told of may be taken for the strokes of the stencil that is told of now: one that
    /// was there before, or the only one of the order.
    pub(crate) fn may_be_taken_for(&mut self, stencil: Stencil) -> u64 {
        let first = if self.make.source.follows_orders() {
            self.now.untold.first().map_or(self.now.reach, |(from, _)| *from)
        } else {
            self.now.heard
        };
        let (mut start, mut taken) = (first, 0);
        for stretch in self.log.iter_mut().filter(|stretch| stretch.end > first) {
            if stretch.maker != stencil {
                stretch.taken_for = stencil;
                taken += stretch.end - start;
            }
            start = stretch.end;
        }
        taken
    }

    /// The board counter, or a person, has told of boards up to this tally.
    pub(crate) fn reaches(&mut self, tally: u64) {
        if tally > self.now.reach {
            self.now.untold.push((self.now.reach, tally));
            self.now.reach = tally;
        }
    }

    /// Who made the latest of the order's strokes that nobody told of yet.
    pub(crate) fn latest(&mut self, mut count: u64) -> (Makers, Makers) {
        let mut both = (Makers::new(), Makers::new());
        while count > 0
            && let Some((from, to)) = self.now.untold.pop()
        {
            let start = to - count.min(to - from);
            count -= to - start;
            let (makers, taken) = self.made(start, to);
            makers.into_iter().for_each(|(maker, n)| add(&mut both.0, maker, n));
            taken.into_iter().for_each(|(other, n)| add(&mut both.1, other, n));
            if start > from {
                self.now.untold.push((from, start));
            }
        }
        both
    }

    /// What is durable needs no log.
    pub(crate) fn becomes_durable(&mut self) {
        self.durable = self.now.clone();
        let told = if self.make.source.follows_orders() {
            self.durable.untold.first().map_or(self.durable.reach, |(from, _)| *from)
        } else {
            self.durable.heard
        };
        while self.log.front().is_some_and(|stretch| stretch.end <= told) {
            self.log.pop_front();
        }
    }

    pub(crate) fn remember(&mut self, at: i64, act: Act) {
        self.story.push_back((at, act));
        if self.story.len() > STORY {
            self.story.pop_front();
        }
    }
}

/// Adds strokes of a stencil.
pub(crate) fn add(makers: &mut Makers, stencil: Stencil, count: u64) {
    match makers.iter_mut().find(|(known, _)| *known == stencil) {
        Some((_, sum)) => *sum += count,
        None => makers.push((stencil, count)),
    }
}

/// Strokes of one stencil.
pub(crate) fn of(makers: &[(Stencil, u64)], stencil: Stencil) -> u64 {
    makers.iter().find(|(known, _)| *known == stencil).map_or(0, |(_, count)| *count)
}

fn first_value(width: Width, luck: &mut Luck) -> u64 {
    match width {
        Width::Bits16 => luck.between(0, 65_536),
        _ if luck.percent(50) => luck.between(0, 100_000),
        _ => width.largest() - luck.between(0, 60_000),
    }
}
