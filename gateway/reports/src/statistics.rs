//! Statistics that the forecast stands on: two straight lines with their intervals.
//!
//! Pure functions of `f64`. A question without an answer (too few points, no significant slope) is
//! answered by `None`, never by a number that looks like one.

mod fieller;
mod line;
mod origin;
mod student;

pub use line::Line;
pub use origin::{Origin, Scatter};
pub use student::two_sided;

/// What an interval is about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum About {
    /// The mean of many observations at one x.
    Mean,
    /// One further observation.
    Observation,
}

/// A closed interval.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Interval {
    /// Its lower end.
    pub low: f64,
    /// Its upper end.
    pub high: f64,
}

impl Interval {
    fn around(centre: f64, half_width: f64) -> Self {
        Self { low: centre - half_width, high: centre + half_width }
    }
}
