//! What is to come at one limit, and how several outlooks make one.

use std::fmt;

use stencilward_domain::time::Timestamp;

use super::Day;

/// What is to come at one limit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Outlook {
    /// It is there already.
    Reached {
        /// Since when, if that is known.
        since: Option<Timestamp>,
    },
    /// It will be there.
    Expected(Dates),
    /// No date can be given.
    NoDate {
        /// Why.
        why: NoDate,
    },
}

/// When something is expected.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Dates {
    /// The middle: it may come earlier or later.
    pub date: Day,
    /// The early end of the prediction interval.
    pub earliest: Day,
    /// The late end of the prediction interval.
    pub latest: Day,
    /// What sets `date`.
    pub sets: Sets,
}

/// What sets a date.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Sets {
    /// The strokes made.
    Strokes,
    /// The washes passed.
    Washes,
    /// The day on which the concession ends.
    ConcessionEnd,
}

/// Why there is no date.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum NoDate {
    /// There is no use to go by.
    NotUsed,
    /// The history is too short.
    TooShort {
        /// Production days since the first use.
        days: usize,
        /// How many it takes.
        needed: usize,
    },
    /// The rate is not significant: the interval has no end.
    TooUneven,
    /// The plant has not worked for so long that no production day can be expected.
    PlantIdle,
    /// The date lies more than twenty years ahead.
    FarAhead,
}

impl fmt::Display for NoDate {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotUsed => f.write_str("it has not been used yet, so there is nothing to go by"),
            Self::TooShort { days, needed } => {
                write!(f, "its use covers {days} of the {needed} production days that a date needs")
            }
            Self::TooUneven => {
                f.write_str("its use is too rare or too uneven to say whether it will get there")
            }
            Self::PlantIdle => f.write_str("the plant has not worked for a year"),
            Self::FarAhead => {
                f.write_str("at its present rate of use it takes more than twenty years")
            }
        }
    }
}

impl Outlook {
    /// The earlier of the two; what has a date goes before what has none.
    pub(super) fn or_earlier(self, other: Self) -> Self {
        match (self, other) {
            (Self::Expected(one), Self::Expected(other)) => Self::Expected(one.or_earlier(other)),
            (Self::Reached { .. }, _) | (_, Self::NoDate { .. }) => self,
            (_, Self::Reached { .. }) | (Self::NoDate { .. }, _) => other,
        }
    }

    /// With an end that comes whatever is used: before `end`, nothing is known of a stencil
    /// without a date of its own but that its use may stop at any time.
    pub(super) fn ended(self, today: Day, end: Day) -> Self {
        let at_end = Dates { date: end, earliest: end, latest: end, sets: Sets::ConcessionEnd };
        match self {
            Self::Expected(dates) => Self::Expected(dates.or_earlier(at_end)),
            Self::NoDate { .. } => Self::Expected(Dates { earliest: today, ..at_end }),
            Self::Reached { .. } => self,
        }
    }

    /// Not before the other.
    pub(super) fn not_before(self, other: Self) -> Self {
        match (self, other) {
            (Self::Expected(one), Self::Expected(other)) => Self::Expected(one.or_later(other)),
            _ => self,
        }
    }
}

impl Dates {
    fn or_earlier(self, other: Self) -> Self {
        Self {
            date: self.date.min(other.date),
            earliest: self.earliest.min(other.earliest),
            latest: self.latest.min(other.latest),
            sets: if other.date < self.date { other.sets } else { self.sets },
        }
    }

    fn or_later(self, other: Self) -> Self {
        Self {
            date: self.date.max(other.date),
            earliest: self.earliest.max(other.earliest),
            latest: self.latest.max(other.latest),
            sets: if other.date > self.date { other.sets } else { self.sets },
        }
    }
}
