//! The stencil master list: read, compared with what is known, and written.

mod plan;
mod read;
mod write;

use stencilward_domain::event::StencilSpec;
use stencilward_domain::names::{ProductName, StencilCode};
use stencilward_domain::signal::Side;
use stencilward_domain::state::State;
use stencilward_domain::stencil::{Cleanliness, Stencils};
use stencilward_domain::wear::WearLimits;

use crate::Form;

pub use plan::{Plan, Revised, plan};
pub use read::{List, read};
pub use write::write;

/// The columns of the list. Only `stencil` must be given, and `rated_strokes` for a new one.
pub const COLUMNS: &[&str] = &[
    "stencil",
    "product",
    "side",
    "revision",
    "rated_strokes",
    "rated_washes",
    "reorder_percent",
    "stop_percent",
    "price",
    "lead_days",
    "strokes_so_far",
    "source",
    "clean",
];

/// What a row says of a stencil. What it does not say stays as it is known, or as by default.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// The code on its frame.
    pub stencil: StencilCode,
    /// The product it prints.
    pub product: Option<ProductName>,
    /// The board side it prints.
    pub side: Option<Side>,
    /// The product revision it prints.
    pub revision: Option<String>,
    /// Strokes it is rated for.
    pub rated_strokes: Option<u64>,
    /// Washes it is rated for.
    pub rated_washes: Option<u64>,
    /// Its own wear limits.
    pub wear_limits: Option<WearLimits>,
    /// What it costs, in hundredths of the plant's currency.
    pub price_centi: Option<u64>,
    /// How long its supplier takes to deliver another one, in days.
    pub lead_days: Option<u32>,
    /// Strokes made so far.
    pub strokes_so_far: Option<u64>,
    /// Who says so.
    pub source: Option<String>,
    /// True when it is clean.
    pub clean: Option<bool>,
}

impl Entry {
    /// All that a list can say of a stencil.
    #[must_use]
    pub fn whole(spec: &StencilSpec, strokes: u64, clean: bool, source: &str) -> Self {
        Self {
            stencil: spec.stencil.clone(),
            product: spec.product.clone(),
            side: spec.side,
            revision: spec.revision.clone(),
            rated_strokes: Some(spec.rated_strokes),
            rated_washes: spec.rated_washes,
            wear_limits: spec.wear_limits,
            price_centi: spec.price_centi,
            lead_days: spec.lead_days,
            strokes_so_far: Some(strokes),
            source: Some(source.to_owned()),
            clean: Some(clean),
        }
    }
}

/// What a list says of the stencils in use: all but those that are retired. Holds, concessions
/// and the rest of a stencil's history are not in it: those are the ledger's. `source` is said to
/// be the source of each count.
#[must_use]
pub fn entries(stencils: &Stencils, source: &str) -> Vec<Entry> {
    let in_use = stencils.values().filter(|stencil| stencil.retired.is_none());
    in_use
        .map(|stencil| {
            let clean = stencil.cleanliness.value == Cleanliness::Clean;
            Entry::whole(&stencil.spec, stencil.strokes, clean, source)
        })
        .collect()
}

/// The list of the stencils in use, as text.
#[must_use]
pub fn export(form: Form, state: &State) -> String {
    let source = format!("export of the ledger up to event {}", state.head);
    write(form, &entries(&state.stencils, &source))
}
