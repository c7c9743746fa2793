//! Calendar days as plain numbers.

/// A day of the plant's calendar, counted from 1970-01-01, which is day 0.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default)]
pub struct Day(pub i32);

impl Day {
    /// The day `days` later, or earlier when negative; held at the ends of the range.
    #[must_use]
    pub fn plus(self, days: i32) -> Self {
        Self(self.0.saturating_add(days))
    }

    /// Days since Monday, 0 to 6. 1970-01-01 was a Thursday.
    #[must_use]
    pub fn weekday(self) -> usize {
        usize::try_from((i64::from(self.0) + 3).rem_euclid(7)).unwrap_or_default()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// 2000-01-01, day 10957, was a Saturday; 1969-12-29 a Monday.
    #[test]
    fn weekdays() {
        assert_eq!(Day(0).weekday(), 3);
        assert_eq!(Day(10_957).weekday(), 5);
        assert_eq!(Day(-3).weekday(), 0);
        assert_eq!(Day(i32::MAX).plus(1), Day(i32::MAX));
    }
}
