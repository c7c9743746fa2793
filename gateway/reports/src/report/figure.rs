//! A figure: a value, and the events of the ledger that it comes from.

use stencilward_domain::event::Position;
use stencilward_domain::stencil::Sourced;
use stencilward_domain::time::Timestamp;

use super::Positions;
use crate::forecast::Day;

/// What a figure says.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub enum Value {
    /// Not known, or it does not apply.
    #[default]
    Nothing,
    /// Words.
    Text(String),
    /// Several names.
    Names(Vec<String>),
    /// A whole number in the column's unit.
    Count(i128),
    /// Hundredths of the column's unit.
    Centi(i128),
    /// An instant.
    Time(Timestamp),
    /// A day of the calendar.
    Day(Day),
    /// An event by its position.
    Event(Position),
}

/// A value and, where it was asked for, the events it comes from.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Figure {
    /// What it says.
    pub value: Value,
    /// Where it comes from.
    pub events: Positions,
}

impl Figure {
    /// Nothing known.
    #[must_use]
    pub fn nothing() -> Self {
        Self::default()
    }

    /// A value that comes from no event.
    #[must_use]
    pub fn of(value: Value) -> Self {
        Self { value, events: Positions::default() }
    }

    /// Words.
    #[must_use]
    pub fn text(text: &(impl ToString + ?Sized)) -> Self {
        Self::of(Value::Text(text.to_string()))
    }

    /// Words, where there are any.
    #[must_use]
    pub fn maybe(text: Option<impl ToString>) -> Self {
        text.map_or_else(Self::nothing, |text| Self::text(&text))
    }

    /// A whole number.
    #[must_use]
    pub fn count(count: impl Into<i128>) -> Self {
        Self::of(Value::Count(count.into()))
    }

    /// Hundredths, where there are any.
    #[must_use]
    pub fn centi(hundredths: Option<i128>) -> Self {
        Self::of(hundredths.map_or(Value::Nothing, Value::Centi))
    }

    /// The event itself.
    #[must_use]
    pub fn event(position: Position) -> Self {
        Self::of(Value::Event(position)).citing(position)
    }

    /// The figure, coming from this event too.
    #[must_use]
    pub fn citing(mut self, position: Position) -> Self {
        self.events.add(position);
        self
    }

    /// The figure, coming from these events too.
    #[must_use]
    pub fn citing_all(mut self, positions: &Positions) -> Self {
        self.events.extend(positions);
        self
    }

    /// Words for a value of the state, with the event that made it so.
    #[must_use]
    pub fn sourced<T>(sourced: &Sourced<T>, in_words: impl FnOnce(&T) -> String) -> Self {
        Self::text(&in_words(&sourced.value)).citing(sourced.because)
    }
}

/// Where an amount comes from; none when nobody wants to know.
pub(super) type Mark = Option<Position>;

/// A sum that grows with the events it comes from.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub(super) struct Tally {
    pub(super) sum: i128,
    pub(super) events: Positions,
}

impl Tally {
    pub(super) fn add(&mut self, amount: impl Into<i128>, mark: Mark) {
        self.sum = self.sum.saturating_add(amount.into());
        if let Some(position) = mark {
            self.events.add(position);
        }
    }

    /// `is` instead of `was`, but never less than nothing.
    pub(super) fn replace(&mut self, was: u64, is: u64, mark: Mark) {
        self.add(i128::from(is) - i128::from(was), mark);
        self.sum = self.sum.max(0);
    }

    pub(super) fn plus(mut self, other: &Self) -> Self {
        self.sum = self.sum.saturating_add(other.sum);
        self.events.extend(&other.events);
        self
    }

    pub(super) fn figure(&self) -> Figure {
        Figure { value: Value::Count(self.sum), events: self.events.clone() }
    }
}

impl<'a> std::iter::Sum<&'a Self> for Tally {
    fn sum<I: Iterator<Item = &'a Self>>(tallies: I) -> Self {
        let mut sum = 0_i128;
        let each = tallies.inspect(|tally| sum = sum.saturating_add(tally.sum));
        let events = Positions::union(each.map(|tally| &tally.events));
        Self { sum, events }
    }
}
