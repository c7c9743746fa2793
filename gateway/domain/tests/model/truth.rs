//! A second opinion: what may be stored and printed with, and how many strokes there are to book,
//! from what happened and from what the ledger records, by the simplest rules there are.

use stencilward_domain::event::{Event, Position, Recorded};
use stencilward_domain::time::Timestamp;

use super::floor::{CONCESSION, GRANTED, Printer, Stencil};

/// What is true and no crash of the gateway takes back.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Floor {
    /// The namer's total.
    pub(crate) total: u64,
    /// Messages that the mute sent.
    pub(crate) sent: u64,
    pub(crate) linked: [bool; 2],
}

/// What the gateway was told of one stencil.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Told {
    /// A wash that passed, and no stroke since that can have been its.
    washed: bool,
    /// The ledger's head when that wash was told.
    washed_at: Position,
    strokes: u64,
    pub(crate) held: bool,
    pub(crate) retired: bool,
    /// Strokes left of its concession, and its end.
    concession: Option<(u64, Timestamp)>,
}

/// What the gateway was told, and what it recorded.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Truth {
    pub(crate) stencils: [Told; 2],
    pub(crate) seats: [Option<Stencil>; 2],
    /// Stencils that were in the namer since its total was last read.
    since_read: Vec<Stencil>,
    read: u64,
    /// The mute's last message that was heard.
    heard: u64,
    /// Strokes told of by each printer.
    told: [u64; 2],
    /// Strokes that the ledger accounts for, by printer.
    accounted: [u64; 2],
    /// In the washer, by a scan or its own word.
    in_washer: Vec<Stencil>,
    /// A wash was reported since, or another one went in: it may have left it.
    doubtful: bool,
    /// Until when a permitted store or take may open the rack.
    pub(crate) door: Timestamp,
}

impl Told {
    pub(crate) fn is_stopped(&self, stencil: Stencil) -> bool {
        self.strokes * 100 >= stencil.life().0 * 99
    }

    pub(crate) fn is_allowed(&self, now: Timestamp) -> bool {
        self.concession.is_some_and(|(left, until)| left > 0 && now < until)
    }

    pub(crate) fn is_washed(&self) -> bool {
        self.washed
    }

    fn printed(&mut self, stencil: Stencil, count: u64) {
        if self.is_stopped(stencil)
            && let Some((left, _)) = &mut self.concession
        {
            *left = left.saturating_sub(count);
        }
        self.strokes += count;
    }
}

impl Told {
    /// Strokes that it did not make after all are not those of its concession.
    fn did_not(&mut self, stencil: Stencil, count: u64) {
        if self.is_stopped(stencil)
            && let Some((left, _)) = &mut self.concession
        {
            *left = GRANTED.min(*left + count);
        }
        self.strokes -= count;
    }
}

impl Truth {
    pub(crate) fn new() -> Self {
        let told = |stencil: Stencil| Told {
            washed: stencil == Stencil::A,
            washed_at: Position(0),
            strokes: stencil.life().1,
            held: false,
            retired: false,
            concession: None,
        };
        Self {
            stencils: Stencil::ALL.map(told),
            seats: [None; 2],
            since_read: Vec::new(),
            read: 0,
            heard: 0,
            told: [0; 2],
            accounted: [0; 2],
            in_washer: Vec::new(),
            doubtful: false,
            door: Timestamp(i64::MIN),
        }
    }

    pub(crate) fn of(&self, stencil: Stencil) -> &Told {
        &self.stencils[stencil as usize]
    }

    pub(crate) fn change(&mut self, stencil: Stencil) -> &mut Told {
        &mut self.stencils[stencil as usize]
    }

    pub(crate) fn seats(&mut self, printer: Printer, stencil: Option<Stencil>) {
        stencil.into_iter().for_each(|stencil| self.turns_up(stencil));
        self.seats[printer as usize] = stencil;
        if printer == Printer::Namer {
            self.since_read.extend(stencil);
            self.since_read.sort_unstable();
            self.since_read.dedup();
        }
    }

    /// A stencil turns up somewhere: it is neither in the washer nor in the mute, which would not
    /// say so by themselves.
    pub(crate) fn turns_up(&mut self, stencil: Stencil) {
        self.in_washer.retain(|other| *other != stencil);
        self.leaves_mute(stencil);
    }

    /// It is said to be washed, by a person or by the washer.
    pub(crate) fn handled(&mut self, stencil: Stencil) {
        self.doubtful |= self.in_washer.contains(&stencil);
        self.leaves_mute(stencil);
    }

    fn leaves_mute(&mut self, stencil: Stencil) {
        let mute = &mut self.seats[Printer::Mute as usize];
        *mute = mute.filter(|other| *other != stencil);
    }

    /// The namer's total was read.
    pub(crate) fn reads(&mut self, total: u64) {
        if total > self.read {
            self.told[Printer::Namer as usize] += total - self.read;
            for stencil in std::mem::take(&mut self.since_read) {
                self.change(stencil).washed = false;
            }
        }
        self.read = total;
        self.since_read = self.seats[Printer::Namer as usize].into_iter().collect();
    }

    /// A message of the mute was heard.
    pub(crate) fn hears(&mut self, message: u64) {
        if message <= self.heard {
            return;
        }
        self.heard = message;
        self.told[Printer::Mute as usize] += 1;
        if let Some(stencil) = self.seats[Printer::Mute as usize] {
            self.change(stencil).washed = false;
        }
    }

    pub(crate) fn loads(&mut self, stencil: Stencil) {
        self.turns_up(stencil);
        self.doubtful = !self.in_washer.is_empty();
        self.in_washer.push(stencil);
    }

    /// The one that the washer speaks of for certain.
    pub(crate) fn surely_in_washer(&self, named: Option<Stencil>) -> Option<Stencil> {
        named.or(match self.in_washer[..] {
            [only] if !self.doubtful => Some(only),
            _ => None,
        })
    }

    /// Those that it may speak of.
    pub(crate) fn in_washer(&self, named: Option<Stencil>) -> Vec<Stencil> {
        named.map_or_else(|| self.in_washer.clone(), |stencil| vec![stencil])
    }

    pub(crate) fn unwashed(&mut self, stencil: Stencil) {
        self.change(stencil).washed = false;
    }

    pub(crate) fn washed(&mut self, stencil: Stencil, head: Position) {
        let told = self.change(stencil);
        (told.washed, told.washed_at) = (true, head);
    }

    pub(crate) fn granted(&mut self, stencil: Stencil, now: Timestamp) {
        let until = Timestamp(now.0 + CONCESSION * 1_000);
        self.change(stencil).concession = Some((GRANTED, until));
    }

    pub(crate) fn withdrawn(&mut self, stencil: Stencil) {
        self.change(stencil).concession = None;
    }

    /// Takes in what the ledger says of numbers of strokes.
    pub(crate) fn records(&mut self, recorded: &Recorded) {
        let known = |name| Printer::of(name).map(|printer| printer as usize);
        match &recorded.fact.event {
            Event::StrokesBooked { machine, stencil, count, .. } => {
                self.gain(Stencil::of(stencil), *count, None);
                known(machine).into_iter().for_each(|printer| self.accounted[printer] += count);
            }
            Event::StrokesUnattributed { machine, count, .. } => {
                known(machine).into_iter().for_each(|printer| self.accounted[printer] += count);
            }
            Event::StrokesAssigned { stencil, count, of, .. } => {
                self.gain(Stencil::of(stencil), *count, Some(*of));
            }
            Event::StrokesCorrected { stencil, machine, was, is, corrects, .. } => {
                if let Some(printer) = machine.as_ref().and_then(known) {
                    self.accounted[printer] = self.accounted[printer] + is - was;
                }
                self.gain(Stencil::of(stencil), is.saturating_sub(*was), Some(*corrects));
                if let Some(stencil) = Stencil::of(stencil) {
                    self.change(stencil).did_not(stencil, was.saturating_sub(*is));
                }
            }
            _ => {}
        }
    }

    /// A stencil made strokes, of which an event told.
    fn gain(&mut self, stencil: Option<Stencil>, count: u64, of: Option<Position>) {
        let Some(stencil) = stencil.filter(|_| count > 0) else { return };
        let told = self.change(stencil);
        told.printed(stencil, count);
        told.washed &= of.is_some_and(|of| told.washed_at >= of);
    }

    /// # Errors
    /// When more strokes are accounted for than were told of.
    pub(crate) fn none_twice(&self) -> Result<(), String> {
        let [namer, mute] = self.accounted;
        let good = namer <= self.told[0] && mute <= self.told[1];
        good.then_some(()).ok_or(format!("{:?} told, {:?} accounted for", self.told, [namer, mute]))
    }
}
