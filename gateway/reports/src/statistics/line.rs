//! The straight line y = b0 + b1 x by least squares.

use super::{About, Interval, fieller, two_sided};

/// A fitted line y = b0 + b1 x with equal, independent scatter of y.
///
/// D. C. Montgomery, E. A. Peck, G. G. Vining, "Introduction to Linear Regression Analysis",
/// 5th ed., §2.2 to 2.5. Checked against NIST StRD Norris in `tests/nist.rs`.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Line {
    /// b0, y at x = 0.
    pub intercept: f64,
    /// Standard deviation of b0.
    pub intercept_sd: f64,
    /// b1, y per x.
    pub slope: f64,
    /// Standard deviation of b1.
    pub slope_sd: f64,
    /// Residual standard deviation, with n - 2 degrees of freedom.
    pub residual_sd: f64,
    /// Share of the variation of y about its mean that the line explains.
    pub r_squared: f64,
    points: f64,
    mean_x: f64,
    mean_y: f64,
    spread_x: f64,
}

impl Line {
    /// The line through points (x, y). None with fewer than three points, with all x the same, or
    /// with values that are not finite.
    ///
    /// Sums are taken about the means, so that large x or y cost no accuracy.
    #[must_use]
    #[allow(clippy::cast_precision_loss)]
    pub fn fit(points: &[(f64, f64)]) -> Option<Self> {
        if points.len() < 3 {
            return None;
        }
        let count = points.len() as f64;
        let sum = |of: &dyn Fn(f64, f64) -> f64| points.iter().map(|&(x, y)| of(x, y)).sum::<f64>();
        let mean_x = sum(&|x, _| x) / count;
        let mean_y = sum(&|_, y| y) / count;
        let spread_x = sum(&|x, _| (x - mean_x).powi(2));
        let spread_y = sum(&|_, y| (y - mean_y).powi(2));
        let slope = sum(&|x, y| (x - mean_x) * (y - mean_y)) / spread_x;
        let left = sum(&|x, y| (y - mean_y - slope * (x - mean_x)).powi(2));
        let residual_sd = (left / (count - 2.0)).sqrt();
        let line = Self {
            intercept: mean_y - slope * mean_x,
            intercept_sd: residual_sd * (1.0 / count + mean_x * mean_x / spread_x).sqrt(),
            slope,
            slope_sd: residual_sd / spread_x.sqrt(),
            residual_sd,
            r_squared: 1.0 - left / spread_y,
            points: count,
            mean_x,
            mean_y,
            spread_x,
        };
        (slope.is_finite() && residual_sd.is_finite()).then_some(line)
    }

    /// The height of the line at x.
    #[must_use]
    pub fn at(&self, x: f64) -> f64 {
        self.mean_y + self.slope * (x - self.mean_x)
    }

    /// Standard error of the height of the line at x.
    #[must_use]
    pub fn mean_sd(&self, x: f64) -> f64 {
        let along = (x - self.mean_x).powi(2) / self.spread_x;
        self.residual_sd * (1.0 / self.points + along).sqrt()
    }

    /// Where the mean response (§2.4.2), or one further observation (§2.5), lies at x. None unless
    /// 0 < confidence < 1.
    #[must_use]
    pub fn interval(&self, x: f64, about: About, confidence: f64) -> Option<Interval> {
        let own = match about {
            About::Mean => 0.0,
            About::Observation => self.residual_sd,
        };
        let half = self.t(confidence)? * self.mean_sd(x).hypot(own);
        Some(Interval::around(self.at(x), half))
    }

    /// Where the slope lies (§2.4.1). None unless 0 < confidence < 1.
    #[must_use]
    pub fn slope_interval(&self, confidence: f64) -> Option<Interval> {
        Some(Interval::around(self.slope, self.t(confidence)? * self.slope_sd))
    }

    /// The x at which the line has height y.
    #[must_use]
    pub fn inverse(&self, y: f64) -> f64 {
        self.mean_x + (y - self.mean_y) / self.slope
    }

    /// Where the x lies at which the mean response, or one further observation, is y: Fieller's
    /// interval. None when the slope is not significant, and no x can be given.
    #[must_use]
    pub fn inverse_interval(&self, y: f64, about: About, confidence: f64) -> Option<Interval> {
        let own = match about {
            About::Mean => 0.0,
            About::Observation => 1.0,
        };
        let scale = (self.t(confidence)? * self.residual_sd).powi(2);
        let widths = [scale * (1.0 / self.points + own), 0.0, scale / self.spread_x];
        let from_mean = fieller::within(y - self.mean_y, self.slope, widths)?;
        Some(Interval { low: self.mean_x + from_mean.low, high: self.mean_x + from_mean.high })
    }

    fn t(&self, confidence: f64) -> Option<f64> {
        two_sided(confidence, self.points - 2.0)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn too_little_is_no_line() {
        assert_eq!(Line::fit(&[(1.0, 1.0), (2.0, 2.0)]), None);
        assert_eq!(Line::fit(&[(1.0, 1.0), (1.0, 2.0), (1.0, 3.0)]), None);
        assert_eq!(Line::fit(&[(1.0, 1.0), (2.0, f64::NAN), (3.0, 3.0)]), None);
    }

    #[test]
    fn a_slope_that_may_be_zero_has_no_inverse_interval() {
        let line = Line::fit(&[(1.0, 5.0), (2.0, 4.0), (3.0, 6.0), (4.0, 5.0)]).expect("a line");
        assert_eq!(line.inverse_interval(9.0, About::Mean, 0.95), None);
        assert!(line.slope_interval(0.95).is_some_and(|i| i.low < 0.0 && i.high > 0.0));
        assert_eq!(line.interval(2.0, About::Mean, 1.5), None);
    }
}
