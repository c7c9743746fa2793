//! What Prometheus is shown.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

/// What Prometheus is shown.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct MetricsSettings {
    /// Most stencils that have series of their own, some twenty each.
    pub stencils: usize,
}

impl Default for MetricsSettings {
    fn default() -> Self {
        Self { stencils: 2_000 }
    }
}
