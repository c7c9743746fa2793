//! A wash that fits nothing.

use serde::{Deserialize, Serialize};

use crate::names::{MachineName, StencilCode};
use crate::signal::WashOutcome;

/// A washer spoke of a wash that fits no stencil, or cannot be.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct WashUnmatched {
    /// The washer.
    pub machine: MachineName,
    /// The code it gave, if any.
    pub code: Option<StencilCode>,
    /// How the wash ended; none when it began.
    pub outcome: Option<WashOutcome>,
    /// Why it does not fit.
    pub why: String,
}
