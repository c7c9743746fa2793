//! A report aligned for a terminal.

use std::io::{self, Write};

use super::super::{Column, Figure, Table, Value};
use super::{Report, instant, shown};

const GAP: &str = "  ";

pub(super) fn write(report: &Report, out: &mut dyn Write) -> io::Result<()> {
    write!(out, "{}: ", printable(&report.site))?;
    writeln!(out, "{}", scope(report))?;
    for table in &report.tables {
        writeln!(out)?;
        one(report, table, out)?;
    }
    Ok(())
}

/// Which part of the ledger the report is of.
fn scope(report: &Report) -> String {
    let period = report.period;
    let mut scope = match period.at {
        Some(at) => format!("as of {}", instant::second(at)),
        None => "as of the ledger's end".to_owned(),
    };
    if report.head.0 > 0 {
        let latest = instant::second(report.latest);
        scope += &format!(" (last event {} of {latest})", report.head);
    } else {
        scope += " (no event by then)";
    }
    match (period.from, period.to) {
        (None, None) => {}
        (from, to) => {
            let from = from.map_or_else(|| "the beginning".to_owned(), instant::second);
            let to = to.map_or_else(|| "the end".to_owned(), instant::second);
            scope += &format!("; flows from {from} to {to}");
        }
    }
    if let Some(only) = &report.only {
        scope += &format!("; only {}", printable(only));
    }
    scope
}

fn one(report: &Report, table: &Table, out: &mut dyn Write) -> io::Result<()> {
    writeln!(out, "{}: {}", table.name, table.about)?;
    if table.rows.is_empty() {
        return writeln!(out, "{GAP}{}", table.nothing);
    }
    let used = |(index, _): &(usize, &Column)| {
        table.rows.iter().any(|row| row.get(*index).is_some_and(|f| f.value != Value::Nothing))
    };
    let columns: Vec<_> = table.columns.iter().enumerate().filter(used).collect();
    let currency = report.currency.as_deref();
    let mut lines: Vec<Vec<String>> = vec![
        columns.iter().map(|(_, (name, _))| (*name).to_owned()).collect(),
        columns.iter().map(|(_, (_, unit))| unit.shown(currency)).collect(),
    ];
    let cell = |row: &[Figure], index: usize| row.get(index).map(|f| cell(&f.value));
    lines.extend(table.rows.iter().map(|row| {
        columns.iter().map(|(index, _)| cell(row, *index).unwrap_or_default()).collect()
    }));
    let right: Vec<bool> = columns.iter().map(|(index, _)| numeric(table, *index)).collect();
    let widths: Vec<usize> = (0..columns.len()).map(|column| width(&lines, column)).collect();
    for (index, line) in lines.iter().enumerate() {
        if line.iter().any(|cell| !cell.is_empty()) {
            writeln!(out, "{}", aligned(line, &widths, &right))?;
        }
        if let Some(row) = index.checked_sub(2).and_then(|index| table.rows.get(index))
            && report.events
        {
            events(table, row, out)?;
        }
    }
    for note in &table.notes {
        writeln!(out, "{GAP}* {note}")?;
    }
    Ok(())
}

fn cell(value: &Value) -> String {
    match value {
        Value::Nothing => "-".to_owned(),
        Value::Names(names) => printable(&names.join(", ")),
        Value::Time(time) => instant::second(*time),
        Value::Event(position) => position.to_string(),
        other => printable(&shown(other)),
    }
}

/// Without what a terminal would act on.
fn printable(text: &str) -> String {
    let shown = |c: char| {
        if c.is_control() { c.escape_default().to_string() } else { c.to_string() }
    };
    text.chars().map(shown).collect()
}

fn numeric(table: &Table, column: usize) -> bool {
    let values = table.rows.iter().filter_map(|row| row.get(column)).map(|figure| &figure.value);
    let mut values = values.filter(|value| **value != Value::Nothing);
    values.all(|value| matches!(value, Value::Count(_) | Value::Centi(_) | Value::Event(_)))
}

fn width(lines: &[Vec<String>], column: usize) -> usize {
    let lengths = lines.iter().filter_map(|line| line.get(column)).map(|cell| cell.chars().count());
    lengths.max().unwrap_or(0)
}

fn aligned(line: &[String], widths: &[usize], right: &[bool]) -> String {
    let mut text = String::new();
    for ((cell, width), right) in line.iter().zip(widths).zip(right) {
        text += GAP;
        text += &if *right { format!("{cell:>width$}") } else { format!("{cell:<width$}") };
    }
    text.truncate(text.trim_end().len());
    text
}

/// The events of a row's figures; figures of the same events share a line.
fn events(table: &Table, row: &[Figure], out: &mut dyn Write) -> io::Result<()> {
    let mut lines: Vec<(Vec<&str>, &Figure)> = Vec::new();
    let cited = table
        .columns
        .iter()
        .zip(row)
        .filter(|(_, figure)| !figure.events.is_empty() && figure.value != Value::Nothing);
    for ((name, _), figure) in cited {
        match lines.iter_mut().find(|(_, other)| other.events == figure.events) {
            Some((names, _)) => names.push(name),
            None => lines.push((vec![name], figure)),
        }
    }
    for (names, figure) in lines {
        writeln!(out, "{GAP}{GAP}{GAP}{}: events {}", names.join(", "), figure.events)?;
    }
    Ok(())
}
