//! What a report needs to know besides the ledger, and what was asked of it.

use stencilward_domain::names::{MachineName, ProductName, StencilCode};
use stencilward_domain::plant::Plant;
use stencilward_domain::state::State;
use stencilward_domain::time::Timestamp;

use super::TableName;

/// What the configuration says.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Setup {
    /// The plant's policy and machines.
    pub plant: Plant,
    /// The currency of all money.
    pub currency: Option<String>,
    /// What one wash costs, in hundredths of the currency.
    pub wash_cost_centi: Option<u64>,
}

impl Setup {
    pub(super) fn line(&self, machine: &MachineName) -> Option<&str> {
        self.plant.machines.get(machine)?.line.as_deref()
    }
}

/// Which part of the ledger counts. Times are those of the events, where a clock that was put back
/// is held at the latest time seen.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Period {
    /// Flows (strokes, washes, refusals and so on) from here on.
    pub from: Option<Timestamp>,
    /// Flows until here, this instant included.
    pub to: Option<Timestamp>,
    /// Nothing after this instant is known: the ledger ends before the first event later than it.
    pub at: Option<Timestamp>,
}

impl Period {
    pub(super) fn limits_flows(self) -> bool {
        self.from.is_some() || self.to.is_some()
    }

    pub(super) fn holds(self, time: Timestamp) -> bool {
        self.from.is_none_or(|from| from <= time) && self.to.is_none_or(|to| time <= to)
    }
}

/// What rows are wanted.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Filter {
    /// Those of this stencil.
    pub stencil: Option<StencilCode>,
    /// Those of this product.
    pub product: Option<ProductName>,
    /// Those of this line.
    pub line: Option<String>,
}

/// What was to be picked is nowhere in the ledger or the configuration.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
#[error("no {what} {name} was there by then: check the name, or the time")]
pub struct NotThere {
    /// Stencil, product or line.
    pub what: &'static str,
    /// Its name.
    pub name: String,
}

/// A table has no column to pick rows by.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("{} cannot be picked by {by}: leave --{by} out, or ask for another table", .table.as_str())]
pub struct NotPickable {
    /// The table.
    pub table: TableName,
    /// What was to pick by.
    pub by: &'static str,
}

impl Filter {
    /// That what it names is known.
    ///
    /// # Errors
    /// [`NotThere`] for the first that is not.
    pub fn check_names(&self, state: &State, setup: &Setup) -> Result<(), NotThere> {
        let missing = |what, name: &str| Err(NotThere { what, name: name.to_owned() });
        if let Some(code) = &self.stencil
            && !state.stencils.contains_key(code)
        {
            return missing("stencil", code.as_str());
        }
        let mut specs = state.stencils.values().map(|stencil| &stencil.spec);
        if let Some(product) = &self.product
            && !specs.any(|spec| spec.product.as_ref() == Some(product))
        {
            return missing("product", product.as_str());
        }
        let mut lines = setup.plant.machines.values().map(|machine| machine.line.as_deref());
        if let Some(line) = &self.line
            && !lines.any(|known| known == Some(line))
        {
            return missing("line", line);
        }
        Ok(())
    }

    /// What it picks, in words; none: everything.
    #[must_use]
    pub fn in_words(&self) -> Option<String> {
        let parts = [
            self.stencil.as_ref().map(|code| format!("stencil {code}")),
            self.product.as_ref().map(|product| format!("product {product}")),
            self.line.as_ref().map(|line| format!("line {line}")),
        ];
        let parts: Vec<String> = parts.into_iter().flatten().collect();
        (!parts.is_empty()).then(|| parts.join(", "))
    }

    /// True when rows are picked by stencil or product.
    pub(super) fn by_stencil(&self) -> bool {
        self.stencil.is_some() || self.product.is_some()
    }

    /// That the rows of `table` can be picked so.
    ///
    /// # Errors
    /// [`NotPickable`] when they have nothing to pick by.
    pub fn check(&self, table: TableName) -> Result<(), NotPickable> {
        use TableName as T;
        let given = [
            ("stencil", self.stencil.is_some()),
            ("product", self.product.is_some()),
            ("line", self.line.is_some()),
        ];
        let can: [bool; 3] = match table {
            T::Wear | T::Concessions | T::Cost | T::Forecast => [true, true, false],
            T::Products => [false, true, false],
            T::Alarms => [false, false, false],
            T::Lines | T::Bases | T::Washes => [false, false, true],
            T::Refusals | T::Orders | T::Unattributed | T::Findings | T::Corrections => {
                [true, true, true]
            }
        };
        let missing = given.into_iter().zip(can).find(|((_, given), can)| *given && !can);
        missing.map_or(Ok(()), |((by, _), _)| Err(NotPickable { table, by }))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_period_holds_both_its_ends() {
        let period = Period { from: Some(Timestamp(2)), to: Some(Timestamp(4)), at: None };
        let held = (0..7).filter(|time| period.holds(Timestamp(*time)));
        assert_eq!(held.collect::<Vec<_>>(), [2, 3, 4]);
        assert!(Period::default().holds(Timestamp(i64::MIN)));
    }

    #[test]
    fn a_table_without_lines_says_so() {
        let filter = Filter { line: Some("line-1".to_owned()), ..Filter::default() };
        let why = filter.check(TableName::Wear).map_err(|error| error.to_string());
        let told = "wear cannot be picked by line: leave --line out, or ask for another table";
        assert_eq!(why, Err(told.to_owned()));
        assert_eq!(filter.check(TableName::Lines), Ok(()));
    }
}
