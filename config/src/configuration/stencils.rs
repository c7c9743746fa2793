//! Stencils and products, as their author writes them.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_adapters::settings::Span;
use stencilward_domain::signal::Side;

use super::WearSettings;

/// A product that differs from the plant's policy.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct ProductSettings {
    /// The product's name, as stencils and orders give it.
    pub name: String,
    /// Where the wear bands of its stencils begin.
    pub wear: WearSettings,
}

/// The side of the board.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum BoardSide {
    /// Top side.
    Top,
    /// Bottom side.
    Bottom,
}

impl From<BoardSide> for Side {
    fn from(side: BoardSide) -> Self {
        match side {
            BoardSide::Top => Self::Top,
            BoardSide::Bottom => Self::Bottom,
        }
    }
}

/// One stencil.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct StencilSettings {
    /// The code on its frame.
    pub code: String,
    /// The product it prints.
    #[serde(default)]
    pub product: Option<String>,
    /// The board side it prints.
    #[serde(default)]
    pub side: Option<BoardSide>,
    /// The product revision it prints.
    #[serde(default)]
    pub revision: Option<String>,
    /// Strokes it is rated for.
    #[schemars(range(min = 1))]
    pub rated_strokes: u64,
    /// Washes it is rated for; not rated unless set.
    #[serde(default)]
    #[schemars(range(min = 1))]
    pub rated_washes: Option<u64>,
    /// Its own wear bands, where they differ from its product's and the plant's.
    #[serde(default)]
    pub wear: Option<WearSettings>,
    /// Strokes it had made when it came under the gateway. Taken in once.
    #[serde(default)]
    pub strokes_so_far: u64,
    /// True when it was clean as it came under the gateway; else it must be washed first.
    /// Taken in once.
    #[serde(default)]
    pub clean: bool,
    /// Who says what it had made and whether it was clean: `configuration` unless set.
    #[serde(default)]
    #[schemars(length(min = 1, max = 200))]
    pub source: Option<String>,
    /// What it costs, with at most two decimals.
    #[serde(default)]
    #[schemars(range(min = 0, max = 1_000_000_000))]
    pub price: Option<f64>,
    /// How long its supplier takes to deliver another one: whole days, such as `14d`; the policy's
    /// unless set.
    #[serde(default)]
    pub lead_time: Option<Span>,
}
