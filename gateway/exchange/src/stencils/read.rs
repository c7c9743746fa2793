//! From rows to entries.

use std::collections::BTreeMap;

use stencilward_domain::names::{ProductName, StencilCode};
use stencilward_domain::wear::{Share, WearLimits};

use super::{COLUMNS, Entry};
use crate::cells::Cells;
use crate::fault::RowFault;
use crate::{Form, rows};

/// The highest price taken, in hundredths.
const HIGHEST_PRICE: u64 = 100_000_000_000_000;

/// The highest wear limit taken, in hundredths of a per cent.
const HIGHEST_LIMIT: u64 = 100_000;

/// A stencil list as read.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub struct List {
    /// The rows without a fault, each with the line it begins in.
    pub entries: Vec<(u64, Entry)>,
    /// Every fault of every other row, by line.
    pub faults: Vec<RowFault>,
}

/// Reads a stencil list.
#[must_use]
pub fn read(form: Form, bytes: &[u8]) -> List {
    let (rows, mut faults) = rows::read(form, bytes, COLUMNS);
    let mut entries = Vec::with_capacity(rows.len());
    let mut seen = BTreeMap::new();
    for row in &rows {
        let mut cells = Cells::of(row);
        let entry = entry(&mut cells, &mut seen);
        let found = cells.faults();
        entries.extend(entry.filter(|_| found.is_empty()).map(|entry| (row.line, entry)));
        faults.extend(found);
    }
    faults.sort_by_key(|fault| fault.line);
    List { entries, faults }
}

fn entry(cells: &mut Cells<'_>, seen: &mut BTreeMap<StencilCode, u64>) -> Option<Entry> {
    let stencil = cells.needed("stencil", StencilCode::new);
    cells.once("stencil", stencil.as_ref(), seen);
    let product = cells.name("product", ProductName::new);
    let side = cells.side("side");
    let revision = cells.word("revision");
    let rated_strokes = cells.whole("rated_strokes", 1..=u64::MAX);
    let rated_washes = cells.whole("rated_washes", 1..=u64::MAX);
    let wear_limits = wear_limits(cells);
    let price_centi = cells.hundredths("price", 0..=HIGHEST_PRICE);
    let lead_days = cells.short("lead_days", 0);
    let strokes_so_far = cells.whole("strokes_so_far", 0..=u64::MAX);
    let source = cells.sentence("source");
    let clean = cells.flag("clean");
    Some(Entry {
        stencil: stencil?,
        product,
        side,
        revision,
        rated_strokes,
        rated_washes,
        wear_limits,
        price_centi,
        lead_days,
        strokes_so_far,
        source,
        clean,
    })
}

fn wear_limits(cells: &mut Cells<'_>) -> Option<WearLimits> {
    let (reorder, stop) = (cells.given("reorder_percent"), cells.given("stop_percent"));
    if reorder != stop {
        let empty = if reorder { "stop_percent" } else { "reorder_percent" };
        cells.fault(empty, "missing beside the other wear limit: give both or none");
    }
    let reorder = share(cells, "reorder_percent");
    let stop = share(cells, "stop_percent");
    let limits = WearLimits { reorder: reorder?, stop: stop? };
    if limits.reorder >= limits.stop {
        cells.fault("reorder_percent", "does not lie below stop_percent: lower it");
    }
    Some(limits)
}

fn share(cells: &mut Cells<'_>, column: &str) -> Option<Share> {
    let hundredths = cells.hundredths(column, 0..=HIGHEST_LIMIT)?;
    u32::try_from(hundredths).ok().map(Share)
}
