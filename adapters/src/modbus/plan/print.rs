//! The plan in words, for people who compare it with a maker's list.

use super::{Limits, Plan, Reach, Want, wants};
use crate::modbus::settings::{Addresses, Point, Settings, Table};

/// Numbers from here on have six digits.
const SIX_DIGITS: u32 = 100_000;

impl Settings {
    /// What is read in which round, line by line: each request with its function code and the
    /// addresses of the protocol and of the maker, and below it the points it covers. Every point
    /// with a poll of its own is also read in the first round after connecting.
    #[must_use]
    pub fn reading_plan(&self) -> Vec<String> {
        let limits = Limits::of(self);
        let wants = wants(self);
        let print = Print { settings: self, wide: self.points.iter().any(has_six_digits) };
        let mut classes: Vec<u32> = wants.iter().map(|want| want.every).collect();
        classes.sort_unstable();
        classes.dedup();
        let mut lines = Vec::new();
        for every in classes {
            let is_due = |want: &Want| every.is_multiple_of(want.every);
            let due: Vec<Want> = wants.iter().filter(|want| is_due(want)).copied().collect();
            let span = self.poll.0 * every;
            let which =
                if every == 1 { String::new() } else { format!(", round {every} of {every}") };
            lines.push(format!("every {}{which}:", humantime::format_duration(span)));
            print.plan(&Plan::for_wants(&limits, &due), &due, &mut lines);
        }
        lines
    }
}

fn has_six_digits(point: &Point) -> bool {
    point.place().at >= SIX_DIGITS
}

struct Print<'a> {
    settings: &'a Settings,
    wide: bool,
}

impl Print<'_> {
    fn plan(&self, plan: &Plan, wants: &[Want], lines: &mut Vec<String>) {
        for reach in &plan.bits {
            self.request(&reach.general(), wants, lines);
        }
        for reach in &plan.words {
            self.request(&reach.general(), wants, lines);
        }
    }

    fn request(&self, reach: &Reach<Table>, wants: &[Want], lines: &mut Vec<String>) {
        let (function, what) = match reach.table {
            Table::Coil => (1, "coils"),
            Table::Discrete => (2, "discrete inputs"),
            Table::Holding => (3, "holding registers"),
            Table::Input => (4, "input registers"),
        };
        let place = self.place(reach.table, reach.at, reach.count);
        lines.push(format!("  function {function:02}, {} {what}: {place}", reach.count));
        for want in wants.iter().filter(|want| reach.holds(want)) {
            let Some(point) = self.settings.points.get(want.point) else {
                continue;
            };
            let place = self.place(want.table, want.at, want.count);
            lines.push(format!("    points[{}] {}: {place}", want.point, point.title()));
        }
    }

    /// Addresses of the protocol, and what the maker prints for them.
    fn place(&self, table: Table, at: u16, count: u16) -> String {
        let last = at.saturating_add(count.saturating_sub(1));
        let range = |first: String, last: String| {
            if first == last { first } else { format!("{first} to {last}") }
        };
        let own = range(at.to_string(), last.to_string());
        let scheme = self.settings.addresses;
        if scheme == Addresses::From0 {
            return own;
        }
        let printed = |address| scheme.printed(table, address, self.wide);
        format!("{own} (printed {})", range(printed(at), printed(last)))
    }
}

impl<T: Copy + Into<Table>> Reach<T> {
    fn general(&self) -> Reach<Table> {
        Reach { table: self.table.into(), at: self.at, count: self.count }
    }
}
