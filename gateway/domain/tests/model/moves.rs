//! What may happen on the floor, one thing at a time, in any order.

use stencilward_domain::signal::{Said, WashOutcome};

use super::floor::{Printer, Stencil, slot};

/// One thing that happens.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Move {
    /// The namer names its stencil, or an operator scans one into the mute.
    Seats(Printer, Stencil),
    /// The same of an empty printer.
    Empty(Printer),
    /// The namer makes a stroke that is read; the mute makes one and sends it.
    Prints(Printer),
    /// The namer makes a stroke that nobody reads yet.
    PrintsUnread,
    /// The namer's total is read.
    IsRead,
    /// The mute sends its last stroke again, with the same identity.
    SendsAgain,
    LinkLost(Printer),
    LinkUp(Printer),
    /// An operator scans it into the washer.
    Loads(Stencil),
    /// The washer does not always know what is in it.
    WashBegins(Option<Stencil>),
    WashEnds(Option<Stencil>, WashOutcome),
    WashedByHand(Stencil, WashOutcome),
    RackAsksStore(Stencil),
    PersonAsksStore(Stencil),
    /// The slot is found occupied; not every rack knows by what.
    Occupied(Option<Stencil>),
    Emptied,
    RackAsksTake(Stencil),
    PersonAsksTake(Stencil),
    Hold(Stencil),
    Release(Stencil),
    /// One stroke more, for a while.
    Grant(Stencil),
    Withdraw(Stencil),
    Retire(Stencil),
    /// The first open strokes are this stencil's.
    Assign(Stencil),
    WriteOff,
    /// The last strokes booked were this stencil's.
    Correct(Stencil),
    /// The last wash was none.
    Annul,
    /// So many seconds pass.
    Wait(i64),
    /// The gateway stops in order and starts again.
    Restart,
    /// The gateway dies before what this wrote is durable, and starts again.
    DiesIn(&'static Move),
}

use Move::{
    Annul, Assign, Correct, DiesIn, Emptied, Empty, Grant, Hold, IsRead, LinkLost, LinkUp, Loads,
    Occupied, PersonAsksStore, PersonAsksTake, Prints, PrintsUnread, RackAsksStore, RackAsksTake,
    Release, Restart, Retire, Seats, SendsAgain, Wait, WashBegins, WashEnds, WashedByHand,
    Withdraw, WriteOff,
};
use Printer::{Mute, Namer};
use Stencil::{A, U};
use WashOutcome::{Aborted, Failed, Passed};

/// Beyond what a printer has to name its stencil in; two of them are beyond a permit.
const SHORT: i64 = 6;
/// Beyond every limit.
const LONG: i64 = 100;

/// Washing and storing.
pub(crate) const STORAGE: &[Move] = &[
    Seats(Namer, A),
    Empty(Namer),
    Prints(Namer),
    Loads(A),
    WashBegins(Some(A)),
    WashEnds(Some(A), Passed),
    WashEnds(None, Passed),
    WashEnds(Some(A), Failed),
    RackAsksStore(A),
    RackAsksStore(U),
    Occupied(Some(A)),
    Occupied(None),
    Emptied,
    RackAsksTake(A),
    Annul,
    Wait(SHORT),
    Wait(LONG),
    Restart,
];

/// Wear, standing and the print permit.
pub(crate) const PRINTING: &[Move] = &[
    Seats(Namer, A),
    Seats(Namer, U),
    Empty(Namer),
    Prints(Namer),
    Seats(Mute, A),
    Prints(Mute),
    Hold(A),
    Release(A),
    Grant(A),
    Withdraw(A),
    Retire(A),
    Correct(U),
    LinkLost(Namer),
    LinkUp(Namer),
    Wait(SHORT),
    Wait(LONG),
    Restart,
];

/// Counting across broken links and restarts.
pub(crate) const COUNTING: &[Move] = &[
    Seats(Namer, A),
    Seats(Namer, U),
    Prints(Namer),
    PrintsUnread,
    IsRead,
    LinkLost(Namer),
    LinkUp(Namer),
    Seats(Mute, A),
    Empty(Mute),
    Prints(Mute),
    SendsAgain,
    LinkLost(Mute),
    LinkUp(Mute),
    Assign(A),
    WriteOff,
    Correct(U),
    Wait(SHORT),
    Wait(LONG),
    Restart,
    DiesIn(&Prints(Namer)),
    DiesIn(&Prints(Mute)),
];

/// All of it.
pub(crate) const EVERYTHING: &[Move] = &[
    Seats(Namer, A),
    Seats(Namer, U),
    Empty(Namer),
    Prints(Namer),
    PrintsUnread,
    IsRead,
    Seats(Mute, A),
    Seats(Mute, U),
    Empty(Mute),
    Prints(Mute),
    SendsAgain,
    LinkLost(Namer),
    LinkUp(Namer),
    LinkLost(Mute),
    LinkUp(Mute),
    Loads(A),
    Loads(U),
    WashBegins(Some(A)),
    WashBegins(None),
    WashEnds(Some(A), Passed),
    WashEnds(Some(U), Passed),
    WashEnds(None, Passed),
    WashEnds(Some(A), Failed),
    WashEnds(None, Aborted),
    WashedByHand(A, Passed),
    WashedByHand(U, Failed),
    RackAsksStore(A),
    RackAsksStore(U),
    PersonAsksStore(A),
    PersonAsksStore(U),
    Occupied(Some(A)),
    Occupied(Some(U)),
    Occupied(None),
    Emptied,
    RackAsksTake(A),
    PersonAsksTake(A),
    Hold(A),
    Release(A),
    Grant(A),
    Withdraw(A),
    Retire(A),
    Assign(A),
    Assign(U),
    WriteOff,
    Correct(A),
    Correct(U),
    Annul,
    Wait(SHORT),
    Wait(LONG),
    Restart,
    DiesIn(&Prints(Namer)),
    DiesIn(&Prints(Mute)),
    DiesIn(&Seats(Namer, U)),
    DiesIn(&WashEnds(Some(A), Passed)),
    DiesIn(&Occupied(Some(A))),
];

impl Move {
    /// What the washer or the rack says, when it is one of them that speaks.
    pub(crate) fn said(self) -> Option<Said> {
        let code = |stencil: Option<Stencil>| stencil.map(Stencil::code);
        Some(match self {
            WashBegins(stencil) => Said::WashBegan { code: code(stencil), programme: None },
            WashEnds(stencil, outcome) => {
                let (code, measured) = (code(stencil), Vec::new());
                Said::WashEnded { code, programme: None, outcome, measured }
            }
            RackAsksStore(stencil) => Said::StoreAsked { code: stencil.code(), slot: Some(slot()) },
            RackAsksTake(stencil) => {
                Said::TakeAsked { code: stencil.code(), order: None, destination: None }
            }
            Occupied(stencil) => Said::SlotOccupied { slot: slot(), code: code(stencil) },
            Emptied => Said::SlotEmptied { slot: slot(), code: None },
            _ => return None,
        })
    }
}
