//! Places in the ledger, kept as ranges so that a long history stays small.

use std::fmt;
use std::ops::RangeInclusive;

use stencilward_domain::event::Position;

/// A set of ledger positions, in order. Neighbours make one range.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Positions(Vec<(u64, u64)>);

impl Positions {
    /// Takes in one more, in any order; cheapest in the ledger's own.
    pub fn add(&mut self, position: Position) {
        let place = position.0;
        match self.0.last_mut() {
            Some((_, last)) if last.checked_add(1) == Some(place) => *last = place,
            Some((_, last)) if *last >= place => {
                self.0.push((place, place));
                self.settle();
            }
            _ => self.0.push((place, place)),
        }
    }

    /// Takes in all of another set.
    pub fn extend(&mut self, other: &Self) {
        if !other.0.is_empty() {
            self.0.extend_from_slice(&other.0);
            self.settle();
        }
    }

    /// All of several sets.
    #[must_use]
    pub fn union<'a>(sets: impl Iterator<Item = &'a Self>) -> Self {
        let mut union = Self(sets.flat_map(|set| set.0.iter().copied()).collect());
        union.settle();
        union
    }

    fn settle(&mut self) {
        self.0.sort_unstable();
        let mut settled: Vec<(u64, u64)> = Vec::with_capacity(self.0.len());
        for (first, last) in self.0.drain(..) {
            match settled.last_mut() {
                Some((_, end)) if first <= end.saturating_add(1) => *end = last.max(*end),
                _ => settled.push((first, last)),
            }
        }
        self.0 = settled;
    }

    /// True when there is none.
    #[must_use]
    pub fn is_empty(&self) -> bool {
        self.0.is_empty()
    }

    /// The ranges, in order.
    pub fn ranges(&self) -> impl Iterator<Item = RangeInclusive<u64>> + '_ {
        self.0.iter().map(|(first, last)| *first..=*last)
    }

    /// Each position, in order.
    pub fn iter(&self) -> impl Iterator<Item = Position> + '_ {
        self.ranges().flatten().map(Position)
    }
}

impl From<Position> for Positions {
    fn from(position: Position) -> Self {
        Self(vec![(position.0, position.0)])
    }
}

impl FromIterator<Position> for Positions {
    fn from_iter<I: IntoIterator<Item = Position>>(positions: I) -> Self {
        let mut set = Self(positions.into_iter().map(|place| (place.0, place.0)).collect());
        set.settle();
        set
    }
}

/// As in `3 5-9 12`.
impl fmt::Display for Positions {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        for (index, (first, last)) in self.0.iter().enumerate() {
            let space = if index == 0 { "" } else { " " };
            write!(f, "{space}{first}")?;
            if last > first {
                write!(f, "-{last}")?;
            }
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn set(places: &[u64]) -> Positions {
        places.iter().copied().map(Position).collect()
    }

    #[test]
    fn neighbours_make_one_range_in_whatever_order_they_come() {
        let mut one_by_one = Positions::default();
        for place in [5, 6, 9, 7, 3, 9, 8] {
            one_by_one.add(Position(place));
        }
        assert_eq!(one_by_one.to_string(), "3 5-9");
        assert_eq!(one_by_one, set(&[9, 8, 7, 6, 5, 3]));
        let mut both = set(&[1, 2, 20]);
        both.extend(&one_by_one);
        both.extend(&set(&[4]));
        assert_eq!(both.to_string(), "1-9 20");
        assert_eq!(both.iter().count(), 10);
    }

    #[test]
    fn the_ends_of_the_range_are_taken() {
        let ends = set(&[u64::MAX, 0, u64::MAX - 1]);
        assert_eq!(ends.to_string(), format!("0 {}-{}", u64::MAX - 1, u64::MAX));
    }
}
