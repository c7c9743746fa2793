//! `stencilward report FILE`: what the ledger adds up to.

use std::fs::File;
use std::io::{self, BufWriter, ErrorKind};
use std::path::PathBuf;
use std::process::ExitCode;

use anyhow::Context as _;
use clap::builder::{PossibleValuesParser, TypedValueParser};
use stencilward_adapters::link::now;
use stencilward_config::Configuration;
use stencilward_domain::event::{Position, Recorded};
use stencilward_domain::names::{ProductName, StencilCode};
use stencilward_domain::time::Timestamp;
use stencilward_ledger::Reader;
use stencilward_reports::report::form::{Form, FormError, Report};
use stencilward_reports::report::{Asked, Filter, Period, Review, Setup, TableName, refers_to};

/// Events read from the ledger at once.
const PAGE: usize = 10_000;

/// A word on standard error after so many events.
const LONG: u64 = 250_000;

/// What to report, and how.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The configuration file.
    file: PathBuf,
    /// The tables; without any, a summary on one page.
    #[arg(value_name = "TABLE", value_parser = table_names())]
    tables: Vec<TableName>,
    /// As of this time: what came later is not known. RFC 3339, or a date, to its end; UTC unless
    /// an offset is given.
    #[arg(long, value_name = "TIME", value_parser = end)]
    at: Option<Timestamp>,
    /// Strokes, washes, refusals, orders and findings from this time on.
    #[arg(long, value_name = "TIME", value_parser = start)]
    from: Option<Timestamp>,
    /// Strokes, washes, refusals, orders and findings up to this time.
    #[arg(long, value_name = "TIME", value_parser = end)]
    to: Option<Timestamp>,
    /// This stencil only.
    #[arg(long, value_name = "CODE", value_parser = |text: &str| StencilCode::new(text))]
    stencil: Option<StencilCode>,
    /// This product only.
    #[arg(long, value_name = "NAME", value_parser = |text: &str| ProductName::new(text))]
    product: Option<ProductName>,
    /// This line only.
    #[arg(long, value_name = "NAME")]
    line: Option<String>,
    /// How it is written; csv holds one table.
    #[arg(long, default_value = "text", value_parser = forms())]
    form: Form,
    /// Each number with the events of the ledger that it comes from.
    #[arg(long)]
    events: bool,
    /// Into this file instead of standard output.
    #[arg(long, value_name = "FILE")]
    out: Option<PathBuf>,
}

fn table_names() -> impl TypedValueParser<Value = TableName> {
    let names = TableName::ALL.map(TableName::as_str);
    PossibleValuesParser::new(names).try_map(|word| {
        TableName::ALL.into_iter().find(|name| name.as_str() == word).ok_or("no such table")
    })
}

fn forms() -> impl TypedValueParser<Value = Form> {
    PossibleValuesParser::new(["text", "csv", "json"]).map(|word| match word.as_str() {
        "csv" => Form::Csv,
        "json" => Form::Json,
        _ => Form::Text,
    })
}

/// The first instant that the text means.
pub(super) fn start(text: &str) -> Result<Timestamp, String> {
    time(text).map(|(first, _)| first)
}

fn end(text: &str) -> Result<Timestamp, String> {
    time(text).map(|(_, last)| last)
}

/// The first and the last millisecond that the text means: an instant, or a whole day.
fn time(text: &str) -> Result<(Timestamp, Timestamp), String> {
    let wrong = "write a date such as 2026-03-31, or a time such as 2026-03-31T06:00:00+02:00";
    let utc = |time: jiff::civil::DateTime| {
        let instant = jiff::tz::TimeZone::UTC.to_timestamp(time);
        instant.map(|instant| Timestamp(instant.as_millisecond())).map_err(|_| wrong.to_owned())
    };
    if text.chars().all(|c| c.is_ascii_digit() || c == '-') {
        let day: jiff::civil::Date = text.parse().map_err(|_| wrong.to_owned())?;
        let next = day.tomorrow().map_err(|_| wrong.to_owned())?;
        let last = utc(next.at(0, 0, 0, 0))?;
        return Ok((utc(day.at(0, 0, 0, 0))?, Timestamp(last.0 - 1)));
    }
    let instant = match text.parse::<jiff::Timestamp>() {
        Ok(instant) => Timestamp(instant.as_millisecond()),
        Err(_) => utc(text.parse().map_err(|_| wrong.to_owned())?)?,
    };
    Ok((instant, instant))
}

/// Writes the report, or says why there is none.
pub(super) fn report(arguments: &Arguments) -> ExitCode {
    let configuration = match super::load(&arguments.file) {
        Ok(configuration) => configuration,
        Err(status) => return status,
    };
    match arguments.report(&configuration) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error:#}");
            ExitCode::FAILURE
        }
    }
}

impl Arguments {
    fn report(&self, configuration: &Configuration) -> anyhow::Result<()> {
        let filter = self.filter();
        for table in &self.tables {
            filter.check(*table)?;
        }
        if self.tables.is_empty() && self.line.is_some() {
            anyhow::bail!("the summary cannot be picked by line: name a table, such as lines");
        }
        if self.form == Form::Csv && self.tables.len() != 1 {
            return Err(FormError::OneTable.into());
        }
        if let (Some(from), Some(to)) = (self.from, self.to)
            && from > to
        {
            anyhow::bail!("--from lies after --to: exchange them");
        }
        let review = self.read(configuration)?;
        filter.check_names(review.state(), review.setup())?;
        let asked = Asked { filter, now: self.at.unwrap_or_else(now) };
        let tables = if self.tables.is_empty() {
            review.summary(&asked)
        } else {
            self.tables.iter().map(|name| review.table(*name, &asked)).collect()
        };
        let report = Report::of(&review, &asked, &configuration.site, tables);
        self.write(&report)
    }

    fn filter(&self) -> Filter {
        Filter {
            stencil: self.stencil.clone(),
            product: self.product.clone(),
            line: self.line.clone(),
        }
    }

    fn read(&self, configuration: &Configuration) -> anyhow::Result<Review> {
        let costs = configuration.costs();
        let setup = Setup {
            plant: configuration.plant(),
            currency: costs.currency,
            wash_cost_centi: costs.wash_centi,
        };
        let period = Period { from: self.from, to: self.to, at: self.at };
        let file = configuration.ledger.display();
        let mut ledger =
            Reader::open(&configuration.ledger).with_context(|| format!("no report of {file}"))?;
        let mut review = Review::new(setup, period, self.events);
        let read = replay(&mut ledger, &mut review)
            .with_context(|| format!("no report of {file}: it cannot be read"))?;
        if read == Position(0) {
            anyhow::bail!("{file} holds no event yet: run the gateway first");
        }
        Ok(review)
    }

    fn write(&self, report: &Report) -> anyhow::Result<()> {
        let Some(file) = &self.out else {
            let mut out = BufWriter::new(io::stdout().lock());
            return quietly(report.write(self.form, &mut out));
        };
        let made =
            File::create(file).with_context(|| format!("cannot write {}", file.display()))?;
        report.write(self.form, &mut BufWriter::new(made))?;
        Ok(())
    }
}

/// Whoever reads standard output may stop reading.
fn quietly(written: Result<(), FormError>) -> anyhow::Result<()> {
    match written {
        Err(FormError::Write(error)) if error.kind() == ErrorKind::BrokenPipe => Ok(()),
        other => Ok(other?),
    }
}

/// Feeds the ledger's events to the review, up to the first that is too late. Gives the last
/// position read; 0 when the ledger is empty.
fn replay(ledger: &mut Reader, review: &mut Review) -> anyhow::Result<Position> {
    let mut position = Position(0);
    loop {
        let page = ledger.read(position, PAGE)?;
        let Some(last) = page.last() else {
            return Ok(position);
        };
        position = last.recorded.position;
        for entry in &page {
            let original = original(ledger, &entry.recorded)?;
            if review.listen(&entry.recorded, original.as_ref()).is_break() {
                return Ok(position);
            }
        }
        if position.0.is_multiple_of(LONG) {
            eprintln!("read {} events", position.0);
        }
    }
}

/// The event that a correcting one refers to.
fn original(ledger: &mut Reader, recorded: &Recorded) -> anyhow::Result<Option<Recorded>> {
    let Some(before) = refers_to(&recorded.fact.event).and_then(|of| of.0.checked_sub(1)) else {
        return Ok(None);
    };
    let mut entries = ledger.read(Position(before), 1)?;
    Ok(entries.pop().map(|entry| entry.recorded))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_date_is_a_whole_day_and_a_time_an_instant() {
        let day = (Timestamp(1_774_915_200_000), Timestamp(1_775_001_599_999));
        assert_eq!(time("2026-03-31"), Ok(day));
        let six = Timestamp(1_774_915_200_000 + 6 * 3_600_000);
        for text in ["2026-03-31T06:00:00Z", "2026-03-31T08:00:00+02:00", "2026-03-31T06:00"] {
            assert_eq!(time(text), Ok((six, six)), "{text}");
        }
        for text in ["", "-", "yesterday", "2026-02-30", "2026-3-1", "31.03.2026", "9999-12-31"] {
            assert!(time(text).is_err(), "{text}");
        }
    }
}
