//! One measure of life, from its history to its outlooks.

use stencilward_domain::time::Timestamp;
use stencilward_domain::wear::Share;

use super::blocks::{self, Basis};
use super::outlook::{Dates, NoDate, Outlook, Sets};
use super::{CONFIDENCE, Calendar, Life, Method, Usage};
use crate::statistics::{About, Origin};

/// One measure of life with its use fitted.
pub(super) struct Measure<'a> {
    sets: Sets,
    life: &'a Life,
    calendar: &'a Calendar,
    fitted: Result<(Origin, Basis), NoDate>,
}

impl<'a> Measure<'a> {
    pub(super) fn new(
        sets: Sets,
        life: &'a Life,
        (usage, calendar): (&Usage, &'a Calendar),
        method: &Method,
    ) -> Self {
        let fitted = blocks::fit(&life.daily, &usage.sharing, calendar, method);
        Self { sets, life, calendar, fitted }
    }

    pub(super) fn basis(&self) -> Option<Basis> {
        self.fitted.as_ref().ok().map(|(_, basis)| *basis)
    }

    /// When `share` of life is used up.
    pub(super) fn reaches(&self, share: Share, since: Option<Timestamp>) -> Outlook {
        if share.reached(self.life.used, self.life.rated) {
            Outlook::Reached { since }
        } else {
            self.after(self.left(share))
        }
    }

    /// How much may be used until `share` of life is used up.
    pub(super) fn left(&self, share: Share) -> u64 {
        let at = (u128::from(self.life.rated) * u128::from(share.0)).div_ceil(10_000);
        u64::try_from(at).unwrap_or(u64::MAX).saturating_sub(self.life.used)
    }

    /// When so much more is used.
    #[allow(clippy::cast_precision_loss)]
    pub(super) fn after(&self, left: u64) -> Outlook {
        self.dates(left as f64).map_or_else(|why| Outlook::NoDate { why }, Outlook::Expected)
    }

    fn dates(&self, left: f64) -> Result<Dates, NoDate> {
        let (line, _) = self.fitted.as_ref().map_err(|why| *why)?;
        if self.calendar.is_idle() {
            return Err(NoDate::PlantIdle);
        }
        let within = line.inverse_interval(left, About::Observation, CONFIDENCE);
        let within = within.filter(|_| line.slope > 0.0).ok_or(NoDate::TooUneven)?;
        let day =
            |production_days, otherwise| self.calendar.after(production_days).ok_or(otherwise);
        Ok(Dates {
            date: day(line.inverse(left), NoDate::FarAhead)?,
            earliest: day(within.low, NoDate::FarAhead)?,
            latest: day(within.high, NoDate::TooUneven)?,
            sets: self.sets,
        })
    }
}
