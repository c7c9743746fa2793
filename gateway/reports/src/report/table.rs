//! A table: columns with units, rows of figures, and what a reader must know.

use super::Figure;

/// What a column's numbers are in.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Unit {
    /// No number, or a plain one.
    None,
    /// Print strokes.
    Strokes,
    /// Understencil wipes.
    Wipes,
    /// Washes.
    Washes,
    /// Stencils.
    Stencils,
    /// Decisions.
    Decisions,
    /// Boards.
    Boards,
    /// Days.
    Days,
    /// Strokes per production day.
    StrokesPerDay,
    /// Hundredths of the whole.
    Percent,
    /// Stencil tension, N/cm.
    Tension,
    /// The plant's currency.
    Money,
    /// The plant's currency for each thousand strokes.
    MoneyPerThousand,
}

impl Unit {
    /// The unit as a header shows it; nothing for a plain number or text.
    #[must_use]
    pub fn shown(self, currency: Option<&str>) -> String {
        let currency = currency.unwrap_or("currency");
        match self {
            Self::None => String::new(),
            Self::Strokes => "strokes".to_owned(),
            Self::Wipes => "wipes".to_owned(),
            Self::Washes => "washes".to_owned(),
            Self::Stencils => "stencils".to_owned(),
            Self::Decisions => "decisions".to_owned(),
            Self::Boards => "boards".to_owned(),
            Self::Days => "days".to_owned(),
            Self::StrokesPerDay => "strokes/day".to_owned(),
            Self::Percent => "%".to_owned(),
            Self::Tension => "N/cm".to_owned(),
            Self::Money => currency.to_owned(),
            Self::MoneyPerThousand => format!("{currency}/1000"),
        }
    }
}

/// A column: its stable name and its unit.
pub type Column = (&'static str, Unit);

/// The names of the tables.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum TableName {
    /// The state and use of each stencil.
    Wear,
    /// Each product and side.
    Products,
    /// Each line and machine.
    Lines,
    /// Strokes of each printer by basis.
    Bases,
    /// Washes by washer, person and programme.
    Washes,
    /// Refusals by rule, reason and stencil.
    Refusals,
    /// Concessions.
    Concessions,
    /// What each stencil costs.
    Cost,
    /// Which stencil printed which order.
    Orders,
    /// Strokes that nobody attributed yet.
    Unattributed,
    /// What does not fit together.
    Findings,
    /// What people corrected.
    Corrections,
    /// How well the alarms serve those who see to them.
    Alarms,
    /// When each stencil reaches its limits.
    Forecast,
}

impl TableName {
    /// All tables.
    pub const ALL: [Self; 14] = [
        Self::Wear,
        Self::Products,
        Self::Lines,
        Self::Bases,
        Self::Washes,
        Self::Refusals,
        Self::Concessions,
        Self::Cost,
        Self::Orders,
        Self::Unattributed,
        Self::Findings,
        Self::Corrections,
        Self::Alarms,
        Self::Forecast,
    ];

    /// The name's stable word.
    #[must_use]
    pub fn as_str(self) -> &'static str {
        match self {
            Self::Wear => "wear",
            Self::Products => "products",
            Self::Lines => "lines",
            Self::Bases => "bases",
            Self::Washes => "washes",
            Self::Refusals => "refusals",
            Self::Concessions => "concessions",
            Self::Cost => "cost",
            Self::Orders => "orders",
            Self::Unattributed => "unattributed",
            Self::Findings => "findings",
            Self::Corrections => "corrections",
            Self::Alarms => "alarms",
            Self::Forecast => "forecast",
        }
    }
}

/// A table of a report.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Table {
    /// Its stable name.
    pub name: &'static str,
    /// What it shows, in a sentence.
    pub about: &'static str,
    /// Its columns.
    pub columns: &'static [Column],
    /// Its rows: a figure for each column.
    pub rows: Vec<Vec<Figure>>,
    /// What a reader must know, or be wary of.
    pub notes: Vec<String>,
    /// What to say when it has no rows.
    pub nothing: &'static str,
}
