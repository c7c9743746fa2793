//! What is wrong with a row of a list.

use std::fmt;

use serde::Serialize;

/// A fault of one row.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct RowFault {
    /// The line it begins in, from 1.
    pub line: u64,
    /// The column, where one is at fault.
    pub column: Option<String>,
    /// What is wrong, and what to do.
    pub fault: String,
}

impl RowFault {
    /// A fault of a whole row.
    pub(crate) fn of_row(line: u64, fault: impl Into<String>) -> Self {
        Self { line, column: None, fault: fault.into() }
    }

    /// A fault of one cell.
    pub(crate) fn of_cell(line: u64, column: &str, fault: impl Into<String>) -> Self {
        Self { line, column: Some(column.to_owned()), fault: fault.into() }
    }
}

impl fmt::Display for RowFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "line {}", self.line)?;
        if let Some(column) = &self.column {
            write!(f, ", {column}")?;
        }
        write!(f, ": {}", self.fault)
    }
}
