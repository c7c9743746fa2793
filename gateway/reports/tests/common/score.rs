//! How well a method did.

use super::methods::{Answer, Contender};
use super::stencils::Case;

/// What came of a method's forecasts.
#[derive(Debug, Default, Clone)]
pub struct Score {
    /// Stencils asked about.
    pub asked: usize,
    /// Of those, with a date.
    pub dated: usize,
    /// Of those, with the true date inside the interval.
    pub inside: usize,
    /// Days between forecast and truth; endless where a date was wanted and none was given.
    errors: Vec<f64>,
    /// Days from the early to the late end.
    widths: Vec<f64>,
}

/// The score of each method. Errors are compared on the stencils that the first one dates.
pub fn scores<'a>(contenders: &[Contender], cases: impl Iterator<Item = &'a Case>) -> Vec<Score> {
    let mut scores = vec![Score::default(); contenders.len()];
    for case in cases {
        let answers: Vec<_> = contenders.iter().map(|contender| (contender.answer)(case)).collect();
        let compared = answers[0].is_some();
        for (score, answer) in scores.iter_mut().zip(answers) {
            score.add(case, answer, compared);
        }
    }
    scores
}

impl Score {
    fn add(&mut self, case: &Case, answer: Option<Answer>, compared: bool) {
        self.asked += 1;
        if compared {
            let error = |answer: Answer| f64::from((answer.date.0 - case.truth.0).abs());
            self.errors.push(answer.map_or(f64::INFINITY, error));
        }
        let Some(answer) = answer else { return };
        self.dated += 1;
        if let Some((earliest, latest)) = answer.interval {
            self.inside += usize::from(earliest <= case.truth && case.truth <= latest);
            self.widths.push(f64::from(latest.0 - earliest.0));
        }
    }

    /// Share of true dates inside their intervals, in per cent.
    pub fn coverage(&self) -> f64 {
        100.0 * self.inside as f64 / self.dated as f64
    }

    /// Median error, in days.
    pub fn error(&self) -> f64 {
        median(&self.errors)
    }

    /// Median width of the intervals, in days; none without intervals.
    pub fn width(&self) -> Option<f64> {
        (!self.widths.is_empty()).then(|| median(&self.widths))
    }

    /// Cells of the table: dated, inside, median error, median width.
    pub fn cells(&self) -> String {
        let dated = 100.0 * self.dated as f64 / self.asked as f64;
        let (inside, width) = match self.width() {
            Some(width) => (format!("{:.1} %", self.coverage()), format!("{width:.0}")),
            None => ("–".to_owned(), "–".to_owned()),
        };
        format!("{dated:.1} % | {inside} | {:.0} | {width}", self.error())
    }
}

fn median(values: &[f64]) -> f64 {
    let mut values = values.to_vec();
    values.sort_unstable_by(f64::total_cmp);
    values.get(values.len() / 2).copied().unwrap_or(f64::NAN)
}
