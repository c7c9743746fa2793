//! Production days: which there were, and when those to come are likely to be.

use super::Day;

/// How far ahead a date is given, in days: twenty years.
const HORIZON: i32 = 20 * 365;

/// How far back the weekday pattern looks, in days: a year, so that holidays and shutdowns which
/// nobody announced have their share. Chosen by back-testing.
const LOOK_BACK: i32 = 52 * 7;

/// When the plant works. One serves the forecasts of all its stencils.
///
/// A production day is a day on which the plant made strokes. How likely a day to come is one
/// follows from how many days of its weekday were, over the last year; a day on which the plant
/// says it is closed is none.
#[derive(Debug, Clone, PartialEq)]
pub struct Calendar {
    today: Day,
    worked: Vec<Day>,
    /// Production days to expect from today until the end of each day ahead.
    ahead: Vec<f64>,
}

impl Calendar {
    /// From the days on which the plant `worked`, in any order, and those on which it was or will
    /// be `closed` and says so (holidays, shutdowns). Today and later do not count as worked.
    #[must_use]
    pub fn new(today: Day, worked: &[Day], closed: &[Day]) -> Self {
        let worked = in_order(worked.iter().copied().filter(|day| *day < today));
        let closed = in_order(closed.iter().copied());
        let shares = weekday_shares(today, &worked, &closed);
        let mut sum = 0.0;
        let ahead = (0..=HORIZON).map(|days| {
            let day = today.plus(days);
            if closed.binary_search(&day).is_err() {
                sum += shares[day.weekday()];
            }
            sum
        });
        let ahead = ahead.collect();
        Self { today, worked, ahead }
    }

    /// The day that the forecast is made on. What happened before it is history.
    #[must_use]
    pub fn today(&self) -> Day {
        self.today
    }

    /// True when no production day can be expected: there was none for a year.
    #[must_use]
    pub fn is_idle(&self) -> bool {
        self.ahead.last().is_none_or(|expected| *expected <= 0.0)
    }

    /// How many production days came before `day`, today and later left out.
    #[must_use]
    pub fn worked_before(&self, day: Day) -> usize {
        self.worked.partition_point(|worked| *worked < day)
    }

    /// The day on which so many further production days are likely to be over. None beyond the
    /// horizon.
    #[must_use]
    pub fn after(&self, production_days: f64) -> Option<Day> {
        let ahead = self.ahead.partition_point(|expected| *expected < production_days);
        let days = i32::try_from(ahead).ok().filter(|_| ahead < self.ahead.len())?;
        Some(self.today.plus(days))
    }
}

fn in_order(days: impl Iterator<Item = Day>) -> Vec<Day> {
    let mut days: Vec<Day> = days.collect();
    days.sort_unstable();
    days.dedup();
    days
}

/// How many of each weekday were worked, of those on which the plant was not closed.
fn weekday_shares(today: Day, worked: &[Day], closed: &[Day]) -> [f64; 7] {
    let first = worked.first().map_or(today, |first| today.plus(-LOOK_BACK).max(*first));
    let (mut open, mut used) = ([0.0; 7], [0.0; 7]);
    for day in (first.0..today.0).map(Day) {
        if worked.binary_search(&day).is_ok() {
            used[day.weekday()] += 1.0;
        } else if closed.binary_search(&day).is_ok() {
            continue;
        }
        open[day.weekday()] += 1.0;
    }
    std::array::from_fn(|weekday| used[weekday] / f64::max(open[weekday], 1.0))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// A Monday.
    const MONDAY: Day = Day(20_003);

    /// Mondays to Fridays of so many weeks before Monday.
    fn weeks(count: i32) -> Vec<Day> {
        let days = (1..=count * 7).map(|back| MONDAY.plus(-back));
        days.filter(|day| day.weekday() < 5).collect()
    }

    #[test]
    fn production_days_skip_weekends_and_announced_days() {
        assert_eq!(MONDAY.weekday(), 0);
        let plain = Calendar::new(MONDAY, &weeks(8), &[]);
        assert_eq!(plain.after(1.0), Some(MONDAY));
        assert_eq!(plain.after(5.0), Some(MONDAY.plus(4)));
        assert_eq!(plain.after(6.0), Some(MONDAY.plus(7)));
        let closed: Vec<Day> = (0..7).map(|days| MONDAY.plus(days)).collect();
        let closed = Calendar::new(MONDAY, &weeks(8), &closed);
        assert_eq!(closed.after(1.0), Some(MONDAY.plus(7)));
    }

    /// One week of four was a shutdown: announced, it says nothing about other weeks.
    #[test]
    fn an_unannounced_shutdown_is_expected_again_in_proportion() {
        let shut = MONDAY.plus(-14)..MONDAY.plus(-7);
        let worked: Vec<Day> = weeks(4).into_iter().filter(|day| !shut.contains(day)).collect();
        assert_eq!(Calendar::new(MONDAY, &worked, &[]).after(15.0), Some(MONDAY.plus(25)));
        let closed: Vec<Day> = (8..=14).map(|back| MONDAY.plus(-back)).collect();
        assert_eq!(Calendar::new(MONDAY, &worked, &closed).after(15.0), Some(MONDAY.plus(18)));
    }

    #[test]
    fn without_work_there_is_nothing_to_expect() {
        let never = Calendar::new(MONDAY, &[], &[]);
        assert!(never.is_idle());
        assert_eq!(never.after(1.0), None);
        let long_ago = Calendar::new(MONDAY, &[MONDAY.plus(-400)], &[]);
        assert!(long_ago.is_idle());
        assert_eq!(long_ago.worked_before(MONDAY), 1);
        assert!(!Calendar::new(MONDAY, &weeks(1), &[]).is_idle());
    }

    #[test]
    fn the_order_of_days_does_not_matter_and_the_future_is_no_history() {
        let mut days = weeks(8);
        let plain = Calendar::new(MONDAY, &days, &[]);
        days.reverse();
        days.extend([MONDAY, MONDAY.plus(30), MONDAY.plus(-3)]);
        assert_eq!(Calendar::new(MONDAY, &days, &[]), plain);
    }
}
