//! A report on paper: text for people, CSV and JSON for programs.

mod csv;
mod instant;
mod json;
mod text;

use std::io::{self, Write};

use stencilward_domain::event::Position;
use stencilward_domain::time::Timestamp;

use super::{Asked, Period, Review, Table, Value};

/// The forms a report comes in.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Form {
    /// Aligned for a terminal.
    #[default]
    Text,
    /// One table as RFC 4180 has it, UTF-8, with a header.
    Csv,
    /// One JSON object (RFC 8259).
    Json,
}

/// A report: its tables and what they are of.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Report {
    /// The plant.
    pub site: String,
    /// The currency of all money.
    pub currency: Option<String>,
    /// Which part of the ledger counts.
    pub period: Period,
    /// Which rows were picked, in words; none: all.
    pub only: Option<String>,
    /// The last event taken in.
    pub head: Position,
    /// Its time, or the latest before it.
    pub latest: Timestamp,
    /// True when each number says which events it comes from.
    pub events: bool,
    /// The tables.
    pub tables: Vec<Table>,
}

/// Why a report cannot be written.
#[derive(Debug, thiserror::Error)]
pub enum FormError {
    /// A CSV file holds one table.
    #[error("a CSV file holds one table: name one, or choose another form")]
    OneTable,
    /// The text cannot be written where it goes.
    #[error("the report cannot be written: see that the disk has room and the reader is there")]
    Write(#[from] io::Error),
}

impl Report {
    /// A report of what was heard so far.
    #[must_use]
    pub fn of(review: &Review, asked: &Asked, site: &str, tables: Vec<Table>) -> Self {
        Self {
            site: site.to_owned(),
            currency: review.setup.currency.clone(),
            period: review.period,
            only: asked.filter.in_words(),
            head: review.state.head,
            latest: review.state.latest,
            events: review.traced,
            tables,
        }
    }

    /// Writes it out.
    ///
    /// # Errors
    /// [`FormError`] when the form cannot hold it, or `out` takes no more.
    pub fn write(&self, form: Form, out: &mut dyn Write) -> Result<(), FormError> {
        match (form, self.tables.as_slice()) {
            (Form::Text, _) => text::write(self, out)?,
            (Form::Csv, [table]) => csv::write(table, self.events, out)?,
            (Form::Csv, _) => return Err(FormError::OneTable),
            (Form::Json, _) => json::write(self, out)?,
        }
        Ok(out.flush()?)
    }
}

/// A value as text: RFC 3339 for times, numbers without grouping.
fn shown(value: &Value) -> String {
    match value {
        Value::Nothing => String::new(),
        Value::Text(text) => text.clone(),
        Value::Names(names) => names.join("; "),
        Value::Count(count) => count.to_string(),
        Value::Centi(hundredths) => decimal(*hundredths),
        Value::Time(time) => instant::time(*time),
        Value::Day(day) => instant::day(*day),
        Value::Event(position) => position.0.to_string(),
    }
}

fn decimal(hundredths: i128) -> String {
    let sign = if hundredths < 0 { "-" } else { "" };
    let size = hundredths.unsigned_abs();
    format!("{sign}{}.{:02}", size / 100, size % 100)
}
