//! Why something is refused: a stable code, and a sentence with what to do.

use std::fmt;
use std::time::Duration;

use serde::{Deserialize, Serialize};

use crate::names::{MachineName, OrderName, ProductName, SlotName, StencilCode};
use crate::place::Place;
use crate::signal::Side;
use crate::time::{Timestamp, in_words};

/// One reason of a refusal. `code` is stable; the sentence is for people.
#[derive(Debug, Clone, PartialEq, Eq, Hash, Serialize, Deserialize)]
#[serde(tag = "code", rename_all = "kebab-case")]
pub enum Reason {
    /// The code is not in the stencil list.
    UnknownStencil {
        /// The code as read.
        stencil: StencilCode,
    },
    /// The printer holds no stencil that anybody identified.
    NothingSeated,
    /// After a broken link nobody has confirmed which stencil is in the printer.
    SeatUnconfirmed {
        /// The stencil that was seated before.
        stencil: StencilCode,
    },
    /// Printed with since the last wash that passed.
    Unwashed {
        /// Strokes since that wash.
        strokes: u64,
    },
    /// Nobody knows whether it is clean.
    CleanlinessUnknown,
    /// In a washer whose programme has not ended.
    Washing,
    /// The last wash is older than the plant allows.
    WashTooOld {
        /// Age of the wash, s.
        age_seconds: u64,
        /// Allowed age, s.
        allowed_seconds: u64,
    },
    /// Somebody put it on hold.
    OnHold {
        /// Why.
        why: String,
        /// Who.
        by: String,
    },
    /// At the end of its rated life and no concession is in force.
    WornOut {
        /// Strokes booked.
        strokes: u64,
        /// Rated strokes.
        rated_strokes: u64,
        /// Washes done.
        washes: u64,
        /// Rated washes, if rated.
        rated_washes: Option<u64>,
    },
    /// The concession's strokes are used up.
    ConcessionUsedUp {
        /// Strokes it allowed.
        strokes: u64,
    },
    /// Taken out of use for good.
    Retired,
    /// The tension was never measured, or too long ago.
    TensionOverdue {
        /// Allowed time between measurements, s.
        allowed_seconds: u64,
    },
    /// The last tension is below the limit.
    TensionTooLow {
        /// Measured, N/cm, in hundredths.
        measured_centi: i64,
        /// Lowest allowed, N/cm, in hundredths.
        lowest_centi: i64,
    },
    /// The order prints another product.
    WrongProduct {
        /// What the order asks for.
        asked: ProductName,
        /// What the stencil is for.
        stencil_for: ProductName,
    },
    /// The order prints the other side.
    WrongSide {
        /// What the order asks for.
        asked: Side,
        /// What the stencil is for.
        stencil_for: Side,
    },
    /// The order prints another revision.
    WrongRevision {
        /// What the order asks for.
        asked: String,
        /// What the stencil is for.
        stencil_for: String,
    },
    /// The order names the stencils it may be printed with, and this is none of them.
    NotForOrder {
        /// The order.
        order: OrderName,
    },
    /// The plant wants a known order, and this is none.
    UnknownOrder {
        /// The order as asked for, if one was.
        order: Option<OrderName>,
    },
    /// Thought to be somewhere else.
    Elsewhere {
        /// Where.
        place: Place,
    },
    /// The slot holds another stencil.
    SlotTaken {
        /// The slot.
        slot: SlotName,
        /// What it holds.
        holds: StencilCode,
    },
    /// Another stencil was permitted to be put there, and is on its way.
    SlotPromised {
        /// The slot.
        slot: SlotName,
        /// To which stencil.
        to: StencilCode,
    },
    /// Somebody else was permitted to take it, and is on the way.
    Promised {
        /// To whom.
        to: String,
        /// Until when.
        until: Timestamp,
    },
    /// In a printer without a permitted take.
    NotTaken,
    /// More strokes since the last wash than the plant allows.
    TooManyStrokesSinceWash {
        /// Strokes since the wash.
        strokes: u64,
        /// Allowed.
        allowed: u64,
    },
    /// Longer since the last wash than the plant allows.
    TooLongSinceWash {
        /// Time since the wash, s.
        seconds: u64,
        /// Allowed, s.
        allowed_seconds: u64,
    },
    /// The asking machine is not one the configuration knows for this.
    NotARack {
        /// The machine.
        machine: MachineName,
    },
    /// What the machine says is shown and changes nothing.
    OnTrial {
        /// The machine.
        machine: MachineName,
    },
}

impl Reason {
    /// The code of [`Reason::SeatUnconfirmed`].
    pub const SEAT_UNCONFIRMED: &'static str = "seat-unconfirmed";

    /// The stable code, as in the API, the metrics and the ledger.
    #[must_use]
    pub fn code(&self) -> &'static str {
        match self {
            Self::UnknownStencil { .. } => "unknown-stencil",
            Self::NothingSeated => "nothing-seated",
            Self::SeatUnconfirmed { .. } => Self::SEAT_UNCONFIRMED,
            Self::Unwashed { .. } => "unwashed",
            Self::CleanlinessUnknown => "cleanliness-unknown",
            Self::Washing => "washing",
            Self::WashTooOld { .. } => "wash-too-old",
            Self::OnHold { .. } => "on-hold",
            Self::WornOut { .. } => "worn-out",
            Self::ConcessionUsedUp { .. } => "concession-used-up",
            Self::Retired => "retired",
            Self::TensionOverdue { .. } => "tension-overdue",
            Self::TensionTooLow { .. } => "tension-too-low",
            Self::WrongProduct { .. } => "wrong-product",
            Self::WrongSide { .. } => "wrong-side",
            Self::WrongRevision { .. } => "wrong-revision",
            Self::NotForOrder { .. } => "not-for-order",
            Self::UnknownOrder { .. } => "unknown-order",
            Self::Elsewhere { .. } => "elsewhere",
            Self::SlotTaken { .. } => "slot-taken",
            Self::SlotPromised { .. } => "slot-promised",
            Self::Promised { .. } => "promised",
            Self::NotTaken => "not-taken",
            Self::TooManyStrokesSinceWash { .. } => "too-many-strokes-since-wash",
            Self::TooLongSinceWash { .. } => "too-long-since-wash",
            Self::NotARack { .. } => "not-a-rack",
            Self::OnTrial { .. } => "on-trial",
        }
    }
}

fn seconds(count: u64) -> String {
    in_words(Duration::from_secs(count))
}

/// Hundredths as a decimal number.
fn centi(value: i64) -> String {
    let sign = if value < 0 { "-" } else { "" };
    let value = value.unsigned_abs();
    format!("{sign}{}.{:02}", value / 100, value % 100)
}

impl fmt::Display for Reason {
    #[expect(clippy::too_many_lines, reason = "one table: a sentence for each reason")]
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::UnknownStencil { stencil } => write!(
                f,
                "no stencil {stencil} is in the list: check the scan, or enter the stencil first"
            ),
            Self::NothingSeated => {
                write!(f, "nobody identified the stencil in the printer: scan it")
            }
            Self::SeatUnconfirmed { stencil } => write!(
                f,
                "{stencil} was in the printer before the link broke and nobody confirmed it since: \
                 scan the stencil that is in there now"
            ),
            Self::Unwashed { strokes: 0 } => {
                write!(f, "it may have printed since its last wash: wash it first")
            }
            Self::Unwashed { strokes } => {
                write!(f, "printed with since its last wash ({strokes} strokes): wash it first")
            }
            Self::CleanlinessUnknown => {
                write!(f, "nobody knows whether it is clean: wash it")
            }
            Self::Washing => write!(f, "its wash has not ended: wait for the washer"),
            Self::WashTooOld { age_seconds, allowed_seconds } => write!(
                f,
                "washed {} ago, {} is allowed: wash it again",
                seconds(*age_seconds),
                seconds(*allowed_seconds)
            ),
            Self::OnHold { why, by } => {
                write!(f, "on hold ({why}; by {by}): have the hold released")
            }
            Self::WornOut { strokes, rated_strokes, washes, rated_washes } => {
                write!(f, "at the end of its life ({strokes} of {rated_strokes} strokes")?;
                if let Some(rated) = rated_washes {
                    write!(f, ", {washes} of {rated} washes")?;
                }
                write!(f, "): use its successor, or ask the manager for a concession")
            }
            Self::ConcessionUsedUp { strokes } => {
                write!(f, "the concession's {strokes} strokes are used up: use its successor")
            }
            Self::Retired => write!(f, "retired: use its successor"),
            Self::TensionOverdue { allowed_seconds } => write!(
                f,
                "its tension was not measured within {}: measure it",
                seconds(*allowed_seconds)
            ),
            Self::TensionTooLow { measured_centi, lowest_centi } => write!(
                f,
                "tension {} N/cm, at least {} N/cm is needed: have it re-tensioned or replaced",
                centi(*measured_centi),
                centi(*lowest_centi)
            ),
            Self::WrongProduct { asked, stencil_for } => write!(
                f,
                "the order prints {asked}, this stencil is for {stencil_for}: take the right one"
            ),
            Self::WrongSide { asked, stencil_for } => write!(
                f,
                "the order prints the {} side, this stencil is for the {} side: \
                 take the right one",
                asked.as_str(),
                stencil_for.as_str()
            ),
            Self::WrongRevision { asked, stencil_for } => write!(
                f,
                "the order prints revision {asked}, this stencil is for {stencil_for}: \
                 take the right one"
            ),
            Self::NotForOrder { order } => {
                write!(f, "order {order} names other stencils: take one of those")
            }
            Self::UnknownOrder { order: Some(order) } => {
                write!(f, "no order {order} is known: check the number, or have it released")
            }
            Self::UnknownOrder { order: None } => {
                write!(f, "stencils are taken for an order only: name the order")
            }
            Self::Elsewhere { place } => {
                write!(f, "thought to be {place}: look there, or scan it out of there first")
            }
            Self::SlotPromised { slot, to } => {
                write!(
                    f,
                    "slot {slot} waits for {to}, which may be put there now: choose another slot"
                )
            }
            Self::Promised { to, .. } => {
                write!(f, "{to} asked first and may take it: ask them, or take another")
            }
            Self::SlotTaken { slot, holds } => {
                write!(f, "slot {slot} holds {holds}: choose another slot")
            }
            Self::NotTaken => write!(
                f,
                "it came to the printer without a permitted take: bring it back and ask for it"
            ),
            Self::TooManyStrokesSinceWash { strokes, allowed } => {
                write!(f, "{strokes} strokes since its last wash, {allowed} are allowed: wash it")
            }
            Self::TooLongSinceWash { seconds: since, allowed_seconds } => write!(
                f,
                "{} since its last wash, {} is allowed: wash it",
                seconds(*since),
                seconds(*allowed_seconds)
            ),
            Self::NotARack { machine } => {
                write!(
                    f,
                    "{machine} is not a storage rack in the configuration: name one that is, or none"
                )
            }
            Self::OnTrial { machine } => write!(
                f,
                "{machine} is on trial and changes nothing: take `trial` out of its configuration \
                 and reload"
            ),
        }
    }
}
