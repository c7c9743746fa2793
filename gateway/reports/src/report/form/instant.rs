//! Instants and days as text, in UTC.

use stencilward_domain::time::Timestamp;

use crate::forecast::Day;

/// As RFC 3339 has it. What no calendar holds is shown in milliseconds since 1970.
pub(super) fn time(time: Timestamp) -> String {
    let instant = jiff::Timestamp::from_millisecond(time.0);
    instant.map_or_else(|_| format!("{} ms", time.0), |instant| instant.to_string())
}

/// The same to the second.
pub(super) fn second(time: Timestamp) -> String {
    let whole = Timestamp(time.0.div_euclid(1_000).saturating_mul(1_000));
    self::time(whole)
}

/// As ISO 8601 has it, such as `2026-03-31`.
pub(super) fn day(day: Day) -> String {
    let days = jiff::Span::new().try_days(day.0);
    let date = days.and_then(|days| jiff::civil::date(1970, 1, 1).checked_add(days));
    date.map_or_else(|_| format!("day {}", day.0), |date| date.to_string())
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn instants_and_days_of_any_size() {
        assert_eq!(time(Timestamp(1_795_000_000_250)), "2026-11-18T11:06:40.25Z");
        assert_eq!(second(Timestamp(1_795_000_000_250)), "2026-11-18T11:06:40Z");
        assert_eq!(second(Timestamp(-1)), "1969-12-31T23:59:59Z");
        assert_eq!(time(Timestamp(i64::MAX)), format!("{} ms", i64::MAX));
        assert_eq!(day(Day(20_775)), "2026-11-18");
        assert_eq!(day(Day(i32::MIN)), format!("day {}", i32::MIN));
    }
}
