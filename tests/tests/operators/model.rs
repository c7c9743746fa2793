//! A stencil as simple as it can be said, from the house's rules in words and not from its code.

use std::collections::BTreeSet;

/// Where it is; slots and printers by number.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Place {
    Hand,
    Slot(u64),
    Printer(u64),
}

/// What an operator does, or the rack says.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Act {
    Take,
    /// Into this slot.
    Store(u64),
    Hold,
    Release,
    Wash,
    /// Into this printer.
    Seat(u64),
    /// Another one was seated in this printer.
    PushedOut(u64),
    /// So many strokes are entered by hand.
    Strokes(u64),
    /// The rack says it is in this slot.
    PutIn(u64),
    /// The rack says it has left this slot.
    TakenOut(u64),
    Look,
}

/// What came of it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Answer {
    Yes,
    /// For these reasons; none where the answer has none.
    No(BTreeSet<String>),
    /// It looks like this.
    Seen(Seen),
    /// Nobody answers.
    Nothing,
}

/// A stencil as its view shows it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Seen {
    pub(crate) place: Place,
    pub(crate) clean: bool,
    pub(crate) held: bool,
    pub(crate) strokes: u64,
    pub(crate) since_wash: u64,
    pub(crate) washes: u64,
}

/// One stencil.
#[derive(Debug, Clone, PartialEq, Eq, Hash)]
pub(crate) struct Stencil {
    place: Place,
    clean: bool,
    held: bool,
    strokes: u64,
    since_wash: u64,
    washes: u64,
    /// Who may take it.
    promised: Option<u64>,
}

/// Reasons that only other stencils make.
const OF_SLOTS: [&str; 2] = ["slot-taken", "slot-promised"];

impl Act {
    pub(crate) fn name(self) -> &'static str {
        match self {
            Self::Take => "take",
            Self::Store(_) => "store",
            Self::Hold => "hold",
            Self::Release => "release",
            Self::Wash => "wash",
            Self::Seat(_) => "seat",
            Self::PushedOut(_) => "pushed out",
            Self::Strokes(_) => "strokes",
            Self::PutIn(_) => "put in",
            Self::TakenOut(_) => "taken out",
            Self::Look => "look",
        }
    }
}

impl Stencil {
    /// A clean one that nobody has touched.
    pub(crate) fn at(place: Place) -> Self {
        let (strokes, since_wash, washes) = (0, 0, 0);
        let (clean, held, promised) = (true, false, None);
        Self { place, clean, held, strokes, since_wash, washes, promised }
    }

    /// The stencil afterwards; none when it cannot have answered so.
    pub(crate) fn after(&self, by: u64, act: Act, answer: &Answer) -> Option<Self> {
        let mut next = self.clone();
        match act {
            Act::Take | Act::Store(_) => return self.decided(by, act, answer),
            Act::Hold if self.held => return refused(self, answer),
            Act::Hold => next.held = true,
            Act::Release if !self.held => return refused(self, answer),
            Act::Release => next.held = false,
            Act::Wash => {
                next.leave_printer();
                (next.clean, next.since_wash, next.washes) = (true, 0, self.washes + 1);
            }
            Act::Seat(printer) => next.arrive(Place::Printer(printer)),
            Act::PushedOut(printer) => {
                if self.place == Place::Printer(printer) {
                    next.place = Place::Hand;
                }
                return Some(next);
            }
            Act::Strokes(count) => {
                next.clean = false;
                next.strokes += count;
                next.since_wash += count;
            }
            Act::PutIn(slot) => next.arrive(Place::Slot(slot)),
            Act::TakenOut(slot) => {
                if self.place == Place::Slot(slot) {
                    next.arrive(Place::Hand);
                }
            }
            Act::Look => return (*answer == Answer::Seen(self.seen())).then_some(next),
        }
        matches!(answer, Answer::Yes | Answer::Nothing).then_some(next)
    }

    /// To be taken it must be free to use, clean and not in a printer, and nobody else's; to be
    /// stored it must be clean and the slot free.
    fn decided(&self, by: u64, act: Act, answer: &Answer) -> Option<Self> {
        let mut against = BTreeSet::new();
        against.extend((!self.clean).then_some("unwashed"));
        if act == Act::Take {
            against.extend(self.held.then_some("on-hold"));
            against.extend(matches!(self.place, Place::Printer(_)).then_some("elsewhere"));
            against.extend(self.promised.is_some_and(|to| to != by).then_some("promised"));
        }
        let none = BTreeSet::new();
        let said = match answer {
            Answer::No(reasons) => reasons,
            _ => &none,
        };
        let own = said.iter().map(String::as_str).filter(|code| !OF_SLOTS.contains(code));
        if own.collect::<BTreeSet<_>>() != against {
            return None;
        }
        let mut next = self.clone();
        match (act, said.is_empty()) {
            (Act::Take, true) => next.promised = Some(by),
            (Act::Take, false) if against.len() > 1 || !against.contains("promised") => {
                next.promised = None;
            }
            (Act::Store(_), true) => {
                next.leave_printer();
                next.promised = None;
            }
            _ => {}
        }
        Some(next)
    }

    fn leave_printer(&mut self) {
        if matches!(self.place, Place::Printer(_)) {
            self.place = Place::Hand;
        }
    }

    fn arrive(&mut self, place: Place) {
        (self.place, self.promised) = (place, None);
    }

    pub(crate) fn seen(&self) -> Seen {
        Seen {
            place: self.place,
            clean: self.clean,
            held: self.held,
            strokes: self.strokes,
            since_wash: self.since_wash,
            washes: self.washes,
        }
    }
}

fn refused(same: &Stencil, answer: &Answer) -> Option<Stencil> {
    matches!(answer, Answer::No(_)).then(|| same.clone())
}
