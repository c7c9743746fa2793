//! The straight line through the origin, y = b x, by weighted least squares.

use super::{About, Interval, fieller, two_sided};

/// How the scatter of y grows with x.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Scatter {
    /// The same at every x.
    Constant,
    /// Variance proportional to x, as of a sum of x independent increments.
    Proportional,
}

/// A fitted line y = b x.
///
/// Montgomery, Peck & Vining, "Introduction to Linear Regression Analysis", 5th ed., regression
/// through the origin (§2.10) and weighted least squares (§5.5) (section numbers from memory).
/// Checked against NIST StRD NoInt1 in `tests/nist.rs`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Origin {
    /// b, y per x.
    pub slope: f64,
    /// Standard deviation of b.
    pub slope_sd: f64,
    /// Residual standard deviation of an observation (at x = 1 when the scatter is proportional
    /// to x), with n - 1 degrees of freedom.
    pub residual_sd: f64,
    /// Share of the variation of y about zero that the line explains, as NIST certifies it.
    pub r_squared: f64,
    /// Degrees of freedom, n - 1.
    pub freedom: f64,
    scatter: Scatter,
}

impl Origin {
    /// The line through the origin that fits points (x, y) best; when the scatter is proportional
    /// to x, x must be above zero. None with fewer than two points, with all x zero, or with values
    /// that are not finite.
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn fit(points: &[(f64, f64)], scatter: Scatter) -> Option<Self> {
        if points.len() < 2 {
            return None;
        }
        let weight = |x: f64| match scatter {
            Scatter::Constant => 1.0,
            Scatter::Proportional => 1.0 / x,
        };
        let sum = |of: &dyn Fn(f64, f64) -> f64| {
            points.iter().map(|&(x, y)| weight(x) * of(x, y)).sum::<f64>()
        };
        let x_squares = sum(&|x, _| x * x);
        let slope = sum(&|x, y| x * y) / x_squares;
        let left = sum(&|x, y| (y - slope * x).powi(2));
        let freedom = points.len() as f64 - 1.0;
        let residual_sd = (left / freedom).sqrt();
        let line = Self {
            slope,
            slope_sd: residual_sd / x_squares.sqrt(),
            residual_sd,
            r_squared: 1.0 - left / sum(&|_, y| y * y),
            freedom,
            scatter,
        };
        (slope.is_finite() && line.slope_sd.is_finite()).then_some(line)
    }

    /// The same line for a time when the slope may have changed by `share` of itself (standard
    /// deviation): that is added to the slope's own uncertainty.
    #[must_use]
    pub fn doubted(self, share: f64) -> Self {
        Self { slope_sd: self.slope_sd.hypot(share * self.slope), ..self }
    }

    /// The height of the line at x.
    #[must_use]
    pub fn at(&self, x: f64) -> f64 {
        self.slope * x
    }

    /// Where the mean response, or one further observation, lies at x. None unless
    /// 0 < confidence < 1.
    #[must_use]
    pub fn interval(&self, x: f64, about: About, confidence: f64) -> Option<Interval> {
        let [v0, v1, v2] = self.widths(about, confidence)?;
        Some(Interval::around(self.at(x), (v0 + x * (v1 + x * v2)).sqrt()))
    }

    /// The x at which the line has height y.
    #[must_use]
    pub fn inverse(&self, y: f64) -> f64 {
        y / self.slope
    }

    /// Where the x lies at which the mean response, or one further observation, is y:
    /// Fieller's interval. None when the slope is not significant, and no x can be given.
    #[must_use]
    pub fn inverse_interval(&self, y: f64, about: About, confidence: f64) -> Option<Interval> {
        fieller::within(y, self.slope, self.widths(about, confidence)?)
    }

    /// The squared half width of the interval at x, as coefficients of 1, x and x squared.
    fn widths(&self, about: About, confidence: f64) -> Option<[f64; 3]> {
        let t = two_sided(confidence, self.freedom)?;
        let own = (t * self.residual_sd).powi(2);
        let mean = (t * self.slope_sd).powi(2);
        Some(match (about, self.scatter) {
            (About::Mean, _) => [0.0, 0.0, mean],
            (About::Observation, Scatter::Constant) => [own, 0.0, mean],
            (About::Observation, Scatter::Proportional) => [0.0, own, mean],
        })
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn too_little_is_no_line() {
        assert_eq!(Origin::fit(&[(1.0, 1.0)], Scatter::Constant), None);
        assert_eq!(Origin::fit(&[(0.0, 1.0), (0.0, 2.0)], Scatter::Constant), None);
        assert_eq!(Origin::fit(&[(1.0, 1.0), (0.0, 2.0)], Scatter::Proportional), None);
    }

    /// With scatter proportional to x the slope is the ratio of the sums (§5.5's weights 1/x).
    #[test]
    fn proportional_scatter_gives_the_ratio_of_sums() {
        let seen = [(5.0, 40.0), (5.0, 60.0), (2.0, 14.0)];
        let line = Origin::fit(&seen, Scatter::Proportional).expect("a line");
        assert!((line.slope - 114.0 / 12.0).abs() < 1e-12);
    }

    #[test]
    fn the_inverse_interval_is_where_the_interval_holds_the_height() {
        let seen = [(5.0, 40.0), (5.0, 60.0), (5.0, 55.0), (5.0, 47.0)];
        let line = Origin::fit(&seen, Scatter::Proportional).expect("a line");
        let x = line.inverse_interval(500.0, About::Observation, 0.9).expect("an interval");
        let high = line.interval(x.low, About::Observation, 0.9).expect("an interval").high;
        let low = line.interval(x.high, About::Observation, 0.9).expect("an interval").low;
        assert!((high - 500.0).abs() < 1e-9 && (low - 500.0).abs() < 1e-9, "{high} {low}");
    }

    #[test]
    fn a_slope_that_may_be_zero_has_no_inverse_interval() {
        let line = Origin::fit(&[(5.0, 0.0), (5.0, 60.0)], Scatter::Proportional);
        let line = line.expect("a line");
        assert_eq!(line.inverse_interval(500.0, About::Observation, 0.9), None);
    }

    #[test]
    fn doubt_widens_the_slope_only() {
        let line = Origin::fit(&[(5.0, 40.0), (5.0, 60.0)], Scatter::Proportional);
        let line = line.expect("a line");
        let doubted = line.doubted(0.2);
        assert!((doubted.slope_sd.powi(2) - line.slope_sd.powi(2) - 4.0).abs() < 1e-12);
        assert_eq!(Origin { slope_sd: line.slope_sd, ..doubted }, line);
    }
}
