//! The file drop's part of a machine's entry in the configuration.

use std::path::PathBuf;
use std::time::Duration;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::settings::Span;

/// Limits of the spans.
const SHORTEST: Duration = Duration::from_millis(10);
const LONGEST: Duration = Duration::from_secs(3_600);

/// A folder into which another program drops orders.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Settings {
    /// The folder; a relative path starts at the configuration file's folder. The gateway's user
    /// must be allowed to write there.
    #[schemars(with = "String")]
    pub folder: PathBuf,
    /// Time from one look into the folder to the next.
    #[serde(default = "two_seconds")]
    pub poll: Span,
    /// How long a file must not have changed before it is read.
    #[serde(default = "one_second")]
    pub settle: Span,
}

fn two_seconds() -> Span {
    Span(Duration::from_secs(2))
}

fn one_second() -> Span {
    Span(Duration::from_secs(1))
}

impl Settings {
    /// Everything wrong with it: the key's path below `files`, and what is wrong and allowed.
    #[must_use]
    pub fn check(&self) -> Vec<(String, String)> {
        let mut found = Vec::new();
        if self.folder.as_os_str().is_empty() {
            found.push(("folder".to_owned(), "empty; name a folder, such as orders".to_owned()));
        }
        for (key, span) in [("poll", self.poll), ("settle", self.settle)] {
            if !(SHORTEST..=LONGEST).contains(&span.0) {
                found.push((key.to_owned(), "must lie between 10ms and 1h".to_owned()));
            }
        }
        found
    }
}
