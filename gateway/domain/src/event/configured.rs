//! That a configuration took effect.

use std::collections::BTreeSet;

use serde::{Deserialize, Serialize};

use crate::names::MachineName;

/// The configuration that holds from here on, and what it changed.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Configured {
    /// SHA-256 of what it was read from, in hexadecimal; empty when it was read from no file.
    pub digest: String,
    /// Who had it read anew, when a person did.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub by: Option<String>,
    /// What it changed, in words. At a start nobody can say: then this is empty.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub changes: Vec<String>,
    /// The machines on trial. One that was on trial before and is none of them begins anew: what
    /// its counters showed until now is nobody's.
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    pub trial: BTreeSet<MachineName>,
    /// The machines whose messages tell when something happened, also those that had to wait.
    #[serde(default, skip_serializing_if = "BTreeSet::is_empty")]
    pub timed: BTreeSet<MachineName>,
}
