//! A history of use, summed over blocks of production days and fitted.

use super::{Calendar, Day, Method, NoDate};
use crate::statistics::{Origin, Scatter};

/// What a forecast of one measure rests on.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct Basis {
    /// Production days looked back.
    pub production_days: usize,
    /// Blocks of production days that were compared with each other.
    pub blocks: usize,
    /// Use per production day, as of how many stencils share it today.
    pub per_day: f64,
    /// Standard deviation of that, the allowance for a change of rate included.
    pub per_day_sd: f64,
}

/// Use over production time, as a line through the origin whose scatter grows with time.
pub(super) fn fit(
    daily: &[(Day, i64)],
    sharing: &[(Day, u32)],
    calendar: &Calendar,
    method: &Method,
) -> Result<(Origin, Basis), NoDate> {
    let history = || daily.iter().filter(|(day, _)| *day < calendar.today());
    let used = history().filter(|(_, used)| *used > 0).map(|(day, _)| *day);
    let first = used.min().ok_or(NoDate::NotUsed)?;
    let now = calendar.worked_before(calendar.today());
    let start = calendar.worked_before(first).max(now.saturating_sub(method.window));
    let days = now - start;
    if days < method.fewest_days.max(1) {
        return Err(NoDate::TooShort { days, needed: method.fewest_days });
    }
    let mut sums = vec![0.0; (days / method.shortest_block.max(1)).min(method.most_blocks).max(1)];
    let blocks = sums.len();
    let sharing = if method.rescale_shared { sharing } else { &[] };
    for (day, used) in history() {
        let Some(at) = calendar.worked_before(*day).checked_sub(start) else { continue };
        let at = at.min(days - 1);
        sums[((at + 1) * blocks - 1) / days] += as_of_today(*day, *used, sharing, calendar);
    }
    let line = Origin::fit(&points(&sums, days), Scatter::Proportional);
    let line = line.ok_or(NoDate::TooUneven)?.doubted(method.change);
    let (per_day, per_day_sd) = (line.slope, line.slope_sd);
    Ok((line, Basis { production_days: days, blocks, per_day, per_day_sd }))
}

/// One point a block: how many production days, and how much use.
#[allow(clippy::cast_precision_loss)]
fn points(sums: &[f64], days: usize) -> Vec<(f64, f64)> {
    let edge = |block: usize| block * days / sums.len();
    let length = |block: usize| (edge(block + 1) - edge(block)) as f64;
    sums.iter().enumerate().map(|(block, sum)| (length(block), *sum)).collect()
}

/// What use on a day would be with as many stencils sharing it as today.
#[allow(clippy::cast_precision_loss)]
fn as_of_today(day: Day, used: i64, sharing: &[(Day, u32)], calendar: &Calendar) -> f64 {
    let on = |day: Day| {
        let known = sharing.iter().filter(|(from, _)| *from <= day);
        let latest = known.max_by_key(|(from, _)| *from);
        f64::from(latest.map_or(1, |(_, count)| (*count).max(1)))
    };
    used as f64 * on(day) / on(calendar.today())
}
