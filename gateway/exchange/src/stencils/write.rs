//! From entries to a list.

use serde::Serialize;
use stencilward_domain::signal::Side;
use stencilward_domain::wear::Share;

use super::{COLUMNS, Entry};
use crate::Form;

/// Writes a stencil list: read back, it gives these entries.
#[must_use]
pub fn write(form: Form, entries: &[Entry]) -> String {
    match form {
        Form::Csv => csv(entries),
        Form::JsonLines => entries.iter().map(json).collect(),
    }
}

/// Lines end in CR LF (RFC 4180, section 2, rule 1).
fn csv(entries: &[Entry]) -> String {
    let mut writer = csv::WriterBuilder::new()
        .terminator(csv::Terminator::CRLF)
        .from_writer(Vec::with_capacity(64 * (entries.len() + 2)));
    // A write to memory does not fail.
    let _ = writer.write_record(COLUMNS);
    for entry in entries {
        let _ = writer.write_record(cells(entry));
    }
    let bytes = writer.into_inner().unwrap_or_default();
    String::from_utf8(bytes).unwrap_or_default()
}

/// An entry as cells, in the order of [`COLUMNS`]; empty where nothing is said.
pub(super) fn cells(entry: &Entry) -> [String; COLUMNS.len()] {
    fn text<T: ToString>(value: Option<T>) -> String {
        value.map(|value| value.to_string()).unwrap_or_default()
    }
    let limits = entry.wear_limits;
    [
        entry.stencil.to_string(),
        text(entry.product.as_ref()),
        text(entry.side.map(Side::as_str)),
        text(entry.revision.as_ref()),
        text(entry.rated_strokes),
        text(entry.rated_washes),
        text(limits.map(|limits| percent(limits.reorder))),
        text(limits.map(|limits| percent(limits.stop))),
        text(entry.price_centi.map(decimal)),
        text(entry.lead_days),
        text(entry.strokes_so_far),
        text(entry.source.as_ref()),
        text(entry.clean),
    ]
}

fn percent(share: Share) -> String {
    decimal(u64::from(share.0))
}

fn decimal(hundredths: u64) -> String {
    format!("{}.{:02}", hundredths / 100, hundredths % 100)
}

/// A line of JSON with numbers as numbers; what is not said is left out.
#[derive(Serialize)]
struct Line<'e> {
    stencil: &'e str,
    #[serde(skip_serializing_if = "Option::is_none")]
    product: Option<&'e str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    side: Option<Side>,
    #[serde(skip_serializing_if = "Option::is_none")]
    revision: Option<&'e str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    rated_strokes: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    rated_washes: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    reorder_percent: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    stop_percent: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    price: Option<f64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    lead_days: Option<u32>,
    #[serde(skip_serializing_if = "Option::is_none")]
    strokes_so_far: Option<u64>,
    #[serde(skip_serializing_if = "Option::is_none")]
    source: Option<&'e str>,
    #[serde(skip_serializing_if = "Option::is_none")]
    clean: Option<bool>,
}

/// The number of so many hundredths: up to fifteen digits it is written as it was meant.
#[allow(clippy::cast_precision_loss)]
fn number(hundredths: u64) -> f64 {
    hundredths as f64 / 100.0
}

fn json(entry: &Entry) -> String {
    let limit = |share: Share| number(u64::from(share.0));
    let line = Line {
        stencil: entry.stencil.as_str(),
        product: entry.product.as_ref().map(|name| name.as_str()),
        side: entry.side,
        revision: entry.revision.as_deref(),
        rated_strokes: entry.rated_strokes,
        rated_washes: entry.rated_washes,
        reorder_percent: entry.wear_limits.map(|limits| limit(limits.reorder)),
        stop_percent: entry.wear_limits.map(|limits| limit(limits.stop)),
        price: entry.price_centi.map(number),
        lead_days: entry.lead_days,
        strokes_so_far: entry.strokes_so_far,
        source: entry.source.as_deref(),
        clean: entry.clean,
    };
    // Texts, numbers and flags can always be written.
    let mut text = serde_json::to_string(&line).unwrap_or_default();
    text.push('\n');
    text
}
