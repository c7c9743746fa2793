//! Money and delivery times, in whole units so that states compare exactly.

use std::time::Duration;

use stencilward_adapters::settings::Span;

use crate::check::Found;
use crate::configuration::Configuration;

const ONE_DAY: Duration = Duration::from_secs(24 * 3_600);
/// The longest delivery time taken: ten years.
const MOST_DAYS: u64 = 3_650;

/// What reports reckon costs and order dates with.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct Costs {
    /// The currency of all prices, as it is shown; none: prices stand without one.
    pub currency: Option<String>,
    /// What one wash costs, in hundredths of the currency.
    pub wash_centi: Option<u64>,
    /// Days a supplier takes to deliver a stencil that says none of its own.
    pub lead_days: Option<u32>,
}

impl Configuration {
    /// What reports reckon costs and order dates with.
    #[must_use]
    pub fn costs(&self) -> Costs {
        Costs {
            currency: self.policy.cost.currency.clone(),
            wash_centi: self.policy.cost.wash.and_then(hundredths),
            lead_days: self.policy.lead_time.and_then(whole_days),
        }
    }

    pub(crate) fn check_costs(&self, found: &mut Found) {
        check_money("policy.cost.wash".to_owned(), self.policy.cost.wash, found);
        check_days("policy.lead-time".to_owned(), self.policy.lead_time, found);
        for (index, stencil) in self.stencils.iter().enumerate() {
            check_money(format!("stencils[{index}].price"), stencil.price, found);
            check_days(format!("stencils[{index}].lead-time"), stencil.lead_time, found);
        }
    }
}

/// Money in hundredths; none when it has more than two decimals or is no amount that is paid.
#[allow(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
pub(crate) fn hundredths(amount: f64) -> Option<u64> {
    let centi = amount * 100.0;
    // A decimal fraction is rarely exact in binary, and then its hundredfold is not either.
    let exact = (centi - centi.round()).abs() <= centi.abs() * 1e-12;
    (exact && (0.0..=1e11).contains(&centi)).then_some(centi.round() as u64)
}

/// A span in days; none when it is no whole number of them from 1.
pub(crate) fn whole_days(span: Span) -> Option<u32> {
    let days = span.0.as_secs() / ONE_DAY.as_secs();
    let whole = ONE_DAY.checked_mul(u32::try_from(days).ok()?) == Some(span.0);
    (whole && (1..=MOST_DAYS).contains(&days)).then_some(days as u32)
}

fn check_money(path: String, amount: Option<f64>, found: &mut Found) {
    if amount.is_some_and(|amount| hundredths(amount).is_none()) {
        found.push((path, "must have at most two decimals, such as 240.00".to_owned()));
    }
}

fn check_days(path: String, span: Option<Span>, found: &mut Found) {
    if span.is_some_and(|span| whole_days(span).is_none()) {
        let wrong = format!("must be whole days from 1 to {MOST_DAYS}, such as 14d");
        found.push((path, wrong));
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn money_is_exact_to_the_hundredth() {
        let cases = [
            (0.0, Some(0)),
            (0.07, Some(7)),
            (1.15, Some(115)),
            (240.0, Some(24_000)),
            (1_000_000_000.0, Some(100_000_000_000)),
            (1.005, None),
            (-1.0, None),
            (f64::NAN, None),
        ];
        for (amount, expected) in cases {
            assert_eq!(hundredths(amount), expected, "{amount}");
        }
        for centi in 0..200_000_u32 {
            let amount: f64 = format!("{}.{:02}", centi / 100, centi % 100).parse().unwrap();
            assert_eq!(hundredths(amount), Some(u64::from(centi)), "{amount}");
        }
    }

    #[test]
    fn days_are_whole() {
        for (text, days) in
            [("14d", Some(14)), ("48h", Some(2)), ("36h", None), ("0s", None), ("4000d", None)]
        {
            assert_eq!(whole_days(Span::parse(text).unwrap()), days, "{text}");
        }
    }
}
