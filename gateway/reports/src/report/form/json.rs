//! A report as one JSON object.

use std::io::{self, Write};

use serde::ser::{SerializeMap, SerializeSeq};
use serde::{Serialize, Serializer};

use super::super::table::Unit;
use super::super::{Figure, Positions, Table, Value};
use super::{Report, instant, shown};

pub(super) fn write(report: &Report, out: &mut dyn Write) -> io::Result<()> {
    serde_json::to_writer_pretty(&mut *out, &Whole(report))?;
    out.write_all(b"\n")
}

struct Whole<'a>(&'a Report);

impl Serialize for Whole<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let report = self.0;
        let time = |time: Option<_>| time.map(instant::time);
        let mut map = serializer.serialize_map(None)?;
        map.serialize_entry("site", &report.site)?;
        map.serialize_entry("last-event", &report.head.0)?;
        map.serialize_entry("state-of", &instant::time(report.latest))?;
        map.serialize_entry("at", &time(report.period.at))?;
        map.serialize_entry("from", &time(report.period.from))?;
        map.serialize_entry("to", &time(report.period.to))?;
        map.serialize_entry("only", &report.only)?;
        map.serialize_entry("currency", &report.currency)?;
        let tables: Vec<_> = report.tables.iter().map(|table| OneTable(report, table)).collect();
        map.serialize_entry("tables", &tables)?;
        map.end()
    }
}

struct OneTable<'a>(&'a Report, &'a Table);

impl Serialize for OneTable<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let Self(report, table) = self;
        let units = Units(report, table);
        let rows: Vec<_> = table.rows.iter().map(|row| Row(report, table, row)).collect();
        let mut map = serializer.serialize_map(Some(5))?;
        map.serialize_entry("table", table.name)?;
        map.serialize_entry("about", table.about)?;
        map.serialize_entry("units", &units)?;
        map.serialize_entry("rows", &rows)?;
        map.serialize_entry("notes", &table.notes)?;
        map.end()
    }
}

/// The columns that have a unit.
struct Units<'a>(&'a Report, &'a Table);

impl Serialize for Units<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let Self(report, table) = self;
        let with = table.columns.iter().filter(|(_, unit)| *unit != Unit::None);
        serializer
            .collect_map(with.map(|(name, unit)| (name, unit.shown(report.currency.as_deref()))))
    }
}

struct Row<'a>(&'a Report, &'a Table, &'a [Figure]);

impl Serialize for Row<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let Self(report, table, figures) = self;
        let cells = table.columns.iter().zip(*figures);
        if report.events {
            serializer.collect_map(cells.map(|((name, _), figure)| (name, Traced(figure))))
        } else {
            serializer.collect_map(cells.map(|((name, _), figure)| (name, Bare(&figure.value))))
        }
    }
}

struct Traced<'a>(&'a Figure);

impl Serialize for Traced<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut map = serializer.serialize_map(Some(2))?;
        map.serialize_entry("value", &Bare(&self.0.value))?;
        map.serialize_entry("events", &Events(&self.0.events))?;
        map.end()
    }
}

struct Events<'a>(&'a Positions);

impl Serialize for Events<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        let mut list = serializer.serialize_seq(None)?;
        for position in self.0.iter() {
            list.serialize_element(&position.0)?;
        }
        list.end()
    }
}

struct Bare<'a>(&'a Value);

impl Serialize for Bare<'_> {
    fn serialize<S: Serializer>(&self, serializer: S) -> Result<S::Ok, S::Error> {
        match self.0 {
            Value::Nothing => serializer.serialize_none(),
            Value::Names(names) => names.serialize(serializer),
            Value::Count(_) | Value::Centi(_) => {
                let number = shown(self.0).parse::<serde_json::Number>();
                number.map_err(serde::ser::Error::custom)?.serialize(serializer)
            }
            Value::Event(position) => position.0.serialize(serializer),
            Value::Text(_) | Value::Time(_) | Value::Day(_) => shown(self.0).serialize(serializer),
        }
    }
}
