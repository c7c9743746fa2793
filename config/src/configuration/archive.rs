//! When old events move out of the ledger's file.

use std::path::PathBuf;
use std::time::Duration;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_adapters::settings::Span;

/// When the running gateway moves old events out of the ledger's file, and where to. They are
/// read as before.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct ArchiveSettings {
    /// How old an event must be, such as `400days`; at least a day.
    pub older_than: Span,
    /// How many must be that old, so that there are few files: 100000 unless set.
    #[serde(default = "enough")]
    pub at_least: u64,
    /// The folder; a relative path starts at the configuration file's. Unless set, one beside the
    /// ledger, named after it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>")]
    pub to: Option<PathBuf>,
}

fn enough() -> u64 {
    100_000
}

impl ArchiveSettings {
    /// What is wrong with it, each with its key.
    pub(crate) fn check(&self) -> Vec<(String, String)> {
        let mut found = Vec::new();
        if self.older_than.0 < Duration::from_secs(86_400) {
            let wrong = "less than a day: what happened today is asked for all the time";
            found.push(("older-than".to_owned(), wrong.to_owned()));
        }
        if self.at_least == 0 {
            let wrong = "none would make a file each hour; leave it out for the usual number";
            found.push(("at-least".to_owned(), wrong.to_owned()));
        }
        found
    }
}
