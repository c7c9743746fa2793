//! Fieller's theorem: between which x a fitted line may have a given height.

use super::Interval;

/// All x with `(height - slope * x)^2 <= v0 + v1 * x + v2 * x^2`, where the right side is the
/// squared half width of the line's interval at x.
///
/// None when that is not one bounded stretch: the slope is not significant (`slope^2 <= v2`), so
/// the line may never get there.
///
/// E. C. Fieller, "Some problems in interval estimation", J. R. Stat. Soc. B 16 (1954) 175-185
/// (from memory); as inverse regression in Montgomery, Peck & Vining, "Introduction to Linear
/// Regression Analysis", 5th ed.
pub(super) fn within(height: f64, slope: f64, v: [f64; 3]) -> Option<Interval> {
    let square = slope * slope - v[2];
    let half = slope * height + v[1] / 2.0;
    let constant = height * height - v[0];
    let spread = (half * half - square * constant).max(0.0).sqrt();
    let interval = Interval { low: (half - spread) / square, high: (half + spread) / square };
    (square > 0.0 && interval.low.is_finite() && interval.high.is_finite()).then_some(interval)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn without_scatter_the_line_is_met_in_one_point() {
        let met = within(10.0, 4.0, [0.0; 3]).expect("an interval");
        assert_eq!(met, Interval { low: 2.5, high: 2.5 });
    }

    #[test]
    fn a_slope_that_may_be_zero_bounds_nothing() {
        assert_eq!(within(10.0, 4.0, [1.0, 1.0, 16.0]), None);
        assert_eq!(within(10.0, 0.0, [0.0; 3]), None);
        assert_eq!(within(f64::NAN, 4.0, [0.0; 3]), None);
    }
}
