//! What the gateway shows of its plant to who asks for no more than the present state.
//!
//! The site task fills it in after each durable write; links that publish it read it at their own
//! pace. An entry is replaced when it changes, so that two looks are compared by address.

use std::collections::BTreeMap;
use std::sync::Arc;

use stencilward_domain::names::{MachineName, StencilCode};
use tokio::sync::watch;

/// The present state.
#[derive(Debug, Clone, Default)]
pub struct Shown {
    /// False until the whole plant was shown for the first time.
    pub complete: bool,
    /// The stencils that are not retired.
    pub stencils: BTreeMap<StencilCode, Arc<ShownStencil>>,
    /// The machines of the plant.
    pub machines: BTreeMap<MachineName, ShownMachine>,
}

/// A look at the present state, which also tells when it changes.
pub type View = watch::Receiver<Shown>;

/// A view of a plant that has nothing in it and never will.
#[must_use]
pub fn nothing() -> View {
    watch::channel(Shown::default()).1
}

/// One stencil.
#[derive(Debug, Clone, PartialEq)]
pub struct ShownStencil {
    /// The product it prints.
    pub product: Option<String>,
    /// How clean it is.
    pub cleanliness: &'static str,
    /// Whether it may be used at all.
    pub standing: &'static str,
    /// How worn it is.
    pub wear_band: &'static str,
    /// The kind of place it is in.
    pub place: &'static str,
    /// The rack, printer or washer it is in.
    pub machine: Option<String>,
    /// The slot it is in.
    pub slot: Option<String>,
    /// Strokes it has made.
    pub strokes: u64,
    /// Strokes it is rated for.
    pub rated_strokes: u64,
    /// Share of its rated life that is used.
    pub life_ratio: f64,
    /// Strokes since its last wash.
    pub strokes_since_wash: u64,
    /// Washes it has had.
    pub washes: u64,
}

/// One machine.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShownMachine {
    /// True while its link is up.
    pub up: bool,
    /// Strokes of it that nobody can attribute.
    pub unattributed: u64,
}
