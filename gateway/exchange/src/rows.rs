//! Rows of named cells, from CSV or JSON lines.

use std::fmt;

use serde::de::{Deserialize, Deserializer, MapAccess, Visitor};
use serde_json::Value;

use crate::fault::RowFault;
use crate::{Form, MOST_ROWS, quotes};

/// What a cell holds.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Cell {
    /// One value as text, not blank.
    Text(String),
    /// Several, as only JSON can say.
    List(Vec<String>),
}

/// One row: a cell for each known column, none where nothing is given.
#[derive(Debug)]
pub(crate) struct Row {
    pub(crate) line: u64,
    pub(crate) columns: &'static [&'static str],
    pub(crate) cells: Vec<Option<Cell>>,
}

impl Row {
    fn empty(line: u64, columns: &'static [&'static str]) -> Self {
        Self { line, columns, cells: columns.iter().map(|_| None).collect() }
    }
}

/// Reads all rows that say anything, and what is wrong with the others.
pub(crate) fn read(
    form: Form,
    bytes: &[u8],
    columns: &'static [&'static str],
) -> (Vec<Row>, Vec<RowFault>) {
    let text = match std::str::from_utf8(bytes) {
        Ok(text) => text.strip_prefix('\u{feff}').unwrap_or(text),
        Err(error) => {
            let before = bytes.get(..error.valid_up_to()).unwrap_or_default();
            let line = 1 + before.iter().filter(|byte| **byte == b'\n').count() as u64;
            let fault = RowFault::of_row(line, "this is no UTF-8: save the list as UTF-8");
            return (Vec::new(), vec![fault]);
        }
    };
    let mut faults = Vec::new();
    let mut rows = match form {
        Form::Csv => csv_rows(text, columns, &mut faults),
        Form::JsonLines => json_rows(text, columns, &mut faults),
    };
    if let Some(beyond) = rows.get(MOST_ROWS) {
        let fault = format!("more than {MOST_ROWS} rows: split the list");
        faults.push(RowFault::of_row(beyond.line, fault));
        rows.truncate(MOST_ROWS);
    }
    (rows, faults)
}

fn csv_rows(text: &str, columns: &'static [&'static str], faults: &mut Vec<RowFault>) -> Vec<Row> {
    faults.extend(quotes::faults(text));
    if !faults.is_empty() {
        return Vec::new();
    }
    let mut reader =
        csv::ReaderBuilder::new().has_headers(false).flexible(true).from_reader(text.as_bytes());
    let mut records = reader.records().filter_map(Result::ok);
    let Some(head) = records.next() else {
        faults.push(RowFault::of_row(1, "the list is empty: its first line names the columns"));
        return Vec::new();
    };
    let Some(places) = places(&head, columns, faults) else {
        return Vec::new();
    };
    let mut rows = Vec::new();
    let mut lines = Lines { text: text.as_bytes(), at: 0, line: 1 };
    for record in records.take(MOST_ROWS + 1) {
        let line = lines.of(&record);
        if record.iter().all(|cell| cell.trim().is_empty()) {
            continue;
        }
        if record.len() != places.len() {
            let (has, head) = (record.len(), places.len());
            let fault = format!("{has} cells under {head} columns: quote cells that hold a comma");
            faults.push(RowFault::of_row(line, fault));
            continue;
        }
        let mut row = Row::empty(line, columns);
        for (place, cell) in places.iter().zip(&record) {
            if let Some(kept) = row.cells.get_mut(*place).filter(|_| !cell.trim().is_empty()) {
                *kept = Some(Cell::Text(cell.to_owned()));
            }
        }
        rows.push(row);
    }
    rows
}

/// Counts lines along the text. The reader's own count is that of the break before a record.
struct Lines<'t> {
    text: &'t [u8],
    at: usize,
    line: u64,
}

impl Lines<'_> {
    /// The line in which the record begins, no earlier than the one before.
    fn of(&mut self, record: &csv::StringRecord) -> u64 {
        let told = record.position().map_or(0, csv::Position::byte);
        let told = usize::try_from(told).unwrap_or(usize::MAX);
        while let Some(byte) = self.text.get(self.at)
            && (self.at < told || matches!(byte, b'\r' | b'\n'))
        {
            self.line += u64::from(*byte == b'\n');
            self.at += 1;
        }
        self.line
    }
}

/// For each column of the list its place among the known ones.
fn places(
    head: &csv::StringRecord,
    columns: &[&str],
    faults: &mut Vec<RowFault>,
) -> Option<Vec<usize>> {
    let before = faults.len();
    let mut places = Vec::new();
    for name in head.iter().map(str::trim) {
        match columns.iter().position(|known| *known == name) {
            Some(place) if places.contains(&place) => {
                faults.push(RowFault::of_cell(1, name, "named twice: keep one of the two columns"));
            }
            Some(place) => places.push(place),
            None if head.len() == 1 && name.contains([';', '\t']) => faults.push(RowFault::of_row(
                1,
                "the columns are not separated by commas: save the list as CSV with commas",
            )),
            None => faults.push(RowFault::of_cell(1, name, unknown(columns))),
        }
    }
    (faults.len() == before).then_some(places)
}

fn unknown(columns: &[&str]) -> String {
    format!("no such column: there are {}", columns.join(", "))
}

fn json_rows(text: &str, columns: &'static [&'static str], faults: &mut Vec<RowFault>) -> Vec<Row> {
    let mut rows = Vec::new();
    let lines = (1u64..).zip(text.lines()).filter(|(_, line)| !line.trim().is_empty());
    for (line, text) in lines.take(MOST_ROWS + 1) {
        let pairs = match serde_json::from_str::<Pairs>(text) {
            Ok(Pairs(pairs)) => pairs,
            Err(error) => {
                let at = match error.column() {
                    0 => String::new(),
                    column => format!(" (character {column})"),
                };
                let fault = format!("this is no JSON object{at}: write one a line");
                faults.push(RowFault::of_row(line, fault));
                continue;
            }
        };
        let mut row = Row::empty(line, columns);
        let before = faults.len();
        for (name, value) in pairs {
            let place = columns.iter().position(|known| *known == name);
            let fault = match place.and_then(|place| row.cells.get_mut(place)) {
                None => unknown(columns),
                Some(Some(_)) => "said twice: keep one of the two".to_owned(),
                Some(kept) => match cell(value) {
                    Ok(cell) => {
                        *kept = cell;
                        continue;
                    }
                    Err(fault) => fault.to_owned(),
                },
            };
            faults.push(RowFault::of_cell(line, &name, fault));
        }
        if faults.len() == before {
            rows.push(row);
        }
    }
    rows
}

/// The cell of a JSON value; blank text is nothing given, as in CSV.
fn cell(value: Value) -> Result<Option<Cell>, &'static str> {
    let text = match value {
        Value::Null => return Ok(None),
        Value::Bool(flag) => flag.to_string(),
        Value::Number(number) => number.to_string(),
        Value::String(text) => text,
        Value::Array(values) => {
            let texts = values.into_iter().map(|value| match value {
                Value::String(text) => Ok(text),
                _ => Err("the list holds something else than text: write texts in it"),
            });
            return texts.collect::<Result<_, _>>().map(|list| Some(Cell::List(list)));
        }
        Value::Object(_) => return Err("an object: write one value"),
    };
    Ok((!text.trim().is_empty()).then_some(Cell::Text(text)))
}

/// A JSON object with every pair as written, so that a key said twice is seen.
struct Pairs(Vec<(String, Value)>);

impl<'de> Deserialize<'de> for Pairs {
    fn deserialize<D: Deserializer<'de>>(deserializer: D) -> Result<Self, D::Error> {
        struct Taker;
        impl<'de> Visitor<'de> for Taker {
            type Value = Pairs;

            fn expecting(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
                f.write_str("an object")
            }

            fn visit_map<A: MapAccess<'de>>(self, mut map: A) -> Result<Pairs, A::Error> {
                let mut pairs = Vec::new();
                while let Some(pair) = map.next_entry()? {
                    pairs.push(pair);
                }
                Ok(Pairs(pairs))
            }
        }
        deserializer.deserialize_map(Taker)
    }
}
