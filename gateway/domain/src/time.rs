//! Instants and spans as plain values: nothing here reads a clock.

use std::time::Duration;

use serde::{Deserialize, Serialize};

/// An instant, in milliseconds since 1970-01-01T00:00:00Z.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Default, Serialize, Deserialize,
)]
#[serde(transparent)]
pub struct Timestamp(pub i64);

impl Timestamp {
    /// The span from `earlier` to here; zero when `earlier` lies ahead.
    #[must_use]
    pub fn since(self, earlier: Self) -> Duration {
        let millis = self.0.saturating_sub(earlier.0);
        Duration::from_millis(u64::try_from(millis).unwrap_or(0))
    }

    /// The span between the two, whichever is earlier: a clock that was put back shows as a span.
    #[must_use]
    pub fn apart(self, other: Self) -> Duration {
        Duration::from_millis(self.0.abs_diff(other.0))
    }

    /// The instant `span` earlier, held at the start of the range.
    #[must_use]
    pub fn minus(self, span: Duration) -> Self {
        let millis = i64::try_from(span.as_millis()).unwrap_or(i64::MAX);
        Self(self.0.saturating_sub(millis))
    }

    /// The instant `span` later, held at the end of the range.
    #[must_use]
    pub fn plus(self, span: Duration) -> Self {
        let millis = i64::try_from(span.as_millis()).unwrap_or(i64::MAX);
        Self(self.0.saturating_add(millis))
    }
}

/// A span in words that a person reads at a glance, such as `2 h 5 min`.
#[must_use]
pub fn in_words(span: Duration) -> String {
    let seconds = span.as_secs();
    let (days, hours, minutes) = (seconds / 86_400, seconds / 3_600 % 24, seconds / 60 % 60);
    match (days, hours, minutes) {
        (0, 0, 0) if seconds < 10 => format!("{:.1} s", span.as_secs_f64()),
        (0, 0, 0) => format!("{seconds} s"),
        (0, 0, m) => format!("{m} min"),
        (0, h, 0) => format!("{h} h"),
        (0, h, m) => format!("{h} h {m} min"),
        (d, 0, _) => format!("{d} d"),
        (d, h, _) => format!("{d} d {h} h"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn spans_never_run_backwards() {
        assert_eq!(Timestamp(5).since(Timestamp(9)), Duration::ZERO);
        assert_eq!(Timestamp(i64::MAX).plus(Duration::MAX), Timestamp(i64::MAX));
        assert_eq!(Timestamp(i64::MIN).minus(Duration::MAX), Timestamp(i64::MIN));
        let whole = Duration::from_millis(u64::MAX);
        assert_eq!(Timestamp(i64::MIN).apart(Timestamp(i64::MAX)), whole);
    }

    #[test]
    fn spans_in_words() {
        let words = |seconds| in_words(Duration::from_secs(seconds));
        assert_eq!(words(3), "3.0 s");
        assert_eq!(words(59), "59 s");
        assert_eq!(words(7_500), "2 h 5 min");
        assert_eq!(words(90_000), "1 d 1 h");
    }
}
