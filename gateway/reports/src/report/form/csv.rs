//! One table as CSV (RFC 4180): a header, a row for each, lines ended by CR LF.

use std::io::{self, Write};

use super::super::Table;
use super::shown;

pub(super) fn write(table: &Table, events: bool, out: &mut dyn Write) -> io::Result<()> {
    let mut writer =
        ::csv::WriterBuilder::new().terminator(::csv::Terminator::CRLF).from_writer(out);
    let mut header: Vec<String> = Vec::new();
    for (name, _) in table.columns {
        header.push((*name).to_owned());
        header.extend(events.then(|| format!("{name}-events")));
    }
    writer.write_record(header)?;
    for row in &table.rows {
        let mut record = Vec::new();
        for figure in row {
            record.push(shown(&figure.value));
            record.extend(events.then(|| figure.events.to_string()));
        }
        writer.write_record(record)?;
    }
    writer.flush()
}
