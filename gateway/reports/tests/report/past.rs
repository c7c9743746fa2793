//! The past: the report at each moment, and flows of a period.

use proptest::prelude::*;
use stencilward_domain::state::State;
use stencilward_domain::time::Timestamp;
use stencilward_reports::report::{Period, TableName};

use super::acts::{acts, after};
use super::plant::review;
use super::totals::sum;

proptest! {
    #![proptest_config(ProptestConfig::with_cases(60))]

    /// Just before and at the time of each event.
    #[test]
    fn any_past_moment_is_what_it_was(acts in acts()) {
        let floor = after(&acts);
        let (mut state, mut told) = (State::default(), 0);
        let mut moments: Vec<i64> = floor.ledger.iter().map(|r| r.fact.at.0).collect();
        moments.sort_unstable();
        moments.dedup();
        for moment in moments.iter().flat_map(|at| [at - 1, *at]).map(Timestamp) {
            while let Some(next) = floor.ledger.get(told).filter(|r| r.fact.at <= moment) {
                state.apply(next);
                told += 1;
            }
            let period = Period { at: Some(moment), ..Period::default() };
            let then = review(&floor.ledger, period, false);
            prop_assert_eq!(then.state(), &state);
        }
        prop_assert_eq!(told, floor.ledger.len());
    }

    /// What happened until a moment and after it is all that happened.
    #[test]
    fn flows_of_two_periods_add_up(acts in acts(), share in 0.0..1.0f64) {
        let floor = after(&acts);
        let (first, last) = (floor.ledger[0].fact.at.0, floor.site.state().latest.0);
        let border = first + ((last - first) as f64 * share) as i64;
        let (to, from) = (Some(Timestamp(border)), Some(Timestamp(border + 1)));
        let flows = |from, to| review(&floor.ledger, Period { from, to, at: None }, false);
        let (before, since) = (flows(None, to), flows(from, None));
        let whole = flows(None, None);
        let columns = [
            (TableName::Products, "strokes"),
            (TableName::Products, "washes"),
            (TableName::Lines, "strokes"),
            (TableName::Lines, "wipes"),
            (TableName::Lines, "unattributed"),
            (TableName::Bases, "strokes"),
            (TableName::Bases, "checked"),
            (TableName::Washes, "passed"),
            (TableName::Refusals, "refusals"),
        ];
        for (name, column) in columns {
            let sum = |review: &stencilward_reports::report::Review| {
                sum(&review.table(name, &floor.asked()), column)
            };
            prop_assert_eq!(sum(&before) + sum(&since), sum(&whole), "{:?} {}", name, column);
        }
        prop_assert_eq!(before.state(), whole.state());
    }
}
