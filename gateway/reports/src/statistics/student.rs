//! Quantiles of Student's t.

use statrs::distribution::{ContinuousCDF, StudentsT};

/// The t that `confidence` (such as 0.95) of the distribution with `freedom` degrees of freedom
/// lies within, on both sides of zero. None unless 0 < confidence < 1 and freedom > 0.
#[must_use]
pub fn two_sided(confidence: f64, freedom: f64) -> Option<f64> {
    if !(confidence > 0.0 && confidence < 1.0) {
        return None;
    }
    let distribution = StudentsT::new(0.0, 1.0, freedom).ok()?;
    Some(distribution.inverse_cdf(f64::midpoint(1.0, confidence)))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Values of scipy 1.17.1, `scipy.stats.t.ppf`.
    #[test]
    fn quantiles_are_those_of_an_independent_library() {
        for (confidence, freedom, t) in [
            (0.90, 1.0, 6.313751514675037),
            (0.90, 2.0, 2.9199855803537242),
            (0.90, 3.0, 2.3533634348018233),
            (0.95, 9.0, 2.262157162798205),
            (0.90, 10.0, 1.8124611228116756),
            (0.95, 34.0, 2.0322445093177186),
            (0.90, 200.0, 1.6525081009108769),
        ] {
            let ours = two_sided(confidence, freedom).expect("a quantile");
            assert!((ours / t - 1.0).abs() < 1e-12, "{confidence} {freedom}: {ours}");
        }
    }

    #[test]
    fn nonsense_has_no_quantile() {
        assert_eq!(two_sided(0.0, 3.0), None);
        assert_eq!(two_sided(1.0, 3.0), None);
        assert_eq!(two_sided(f64::NAN, 3.0), None);
        assert_eq!(two_sided(0.9, 0.0), None);
    }
}
