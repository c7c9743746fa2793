//! Orders that come in as a list.

use std::collections::BTreeMap;

use stencilward_domain::names::{OrderName, ProductName, StencilCode};
use stencilward_domain::signal::OrderSpec;

use crate::cells::Cells;
use crate::fault::RowFault;
use crate::{Form, rows};

/// The columns of a list of orders. Only `order` must be given; `stencils` holds codes with
/// semicolons between them, or spaces where no code holds one.
pub const COLUMNS: &[&str] = &[
    "order",
    "product",
    "side",
    "revision",
    "quantity",
    "panels_per_stroke",
    "strokes_per_panel",
    "setup_strokes",
    "stencils",
];

/// Reads a list of orders.
///
/// # Errors
/// Every fault of every row, by line.
pub fn read(form: Form, bytes: &[u8]) -> Result<Vec<OrderSpec>, Vec<RowFault>> {
    let (rows, mut faults) = rows::read(form, bytes, COLUMNS);
    let mut orders = Vec::with_capacity(rows.len());
    let mut seen = BTreeMap::new();
    for row in &rows {
        let mut cells = Cells::of(row);
        orders.extend(order(&mut cells, &mut seen));
        faults.extend(cells.faults());
    }
    if faults.is_empty() {
        return Ok(orders);
    }
    faults.sort_by_key(|fault| fault.line);
    Err(faults)
}

fn order(cells: &mut Cells<'_>, seen: &mut BTreeMap<OrderName, u64>) -> Option<OrderSpec> {
    let order = cells.needed("order", OrderName::new);
    cells.once("order", order.as_ref(), seen);
    let product = cells.name("product", ProductName::new);
    let side = cells.side("side");
    let revision = cells.word("revision");
    let quantity = cells.whole("quantity", 1..=u64::MAX);
    let panels_per_stroke = cells.short("panels_per_stroke", 1);
    let strokes_per_panel = cells.short("strokes_per_panel", 1);
    let setup_strokes = cells.short("setup_strokes", 0);
    let stencils = cells.names("stencils", StencilCode::new);
    Some(OrderSpec {
        order: order?,
        product,
        side,
        revision,
        quantity,
        panels_per_stroke,
        strokes_per_panel,
        setup_strokes,
        stencils,
    })
}
