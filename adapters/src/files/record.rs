//! What is recorded of dropped files, and how it is decoded again. Nothing here waits.

use std::time::{Duration, SystemTime};

use serde::{Deserialize, Serialize};
use stencilward_domain::names::MachineName;
use stencilward_domain::signal::OrderSpec;
use stencilward_domain::time::Timestamp;

use super::decode::{Content, digest, orders_of, signals};
use super::watch::Entry;
use crate::link::Trouble;
use crate::record::{Again, Bytes, Given, Heard, Raw, Tape, Told};

/// A file as it lay in the folder.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Dropped {
    /// Its name.
    pub name: String,
    /// When it was changed last, in nanoseconds since 1970.
    pub modified: u64,
    /// Its size, in bytes.
    pub length: u64,
    /// What was in it; none when it was too large to be read.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub content: Option<Bytes>,
}

/// Records a file.
pub(super) fn file(
    tape: &Tape,
    entry: &Entry,
    content: &Content,
    orders: &Result<Vec<OrderSpec>, Vec<String>>,
) {
    let since = entry.modified.duration_since(SystemTime::UNIX_EPOCH).unwrap_or_default();
    let dropped = Dropped {
        name: entry.name.clone(),
        modified: u64::try_from(since.as_nanos()).unwrap_or(u64::MAX),
        length: entry.length,
        content: match content {
            Content::Whole(bytes) => Some(Bytes::of(bytes)),
            Content::TooLarge => None,
        },
    };
    let given = given(tape.machine(), entry, content, orders.clone());
    tape.put(Raw::File(dropped), given);
}

fn given(
    machine: &MachineName,
    entry: &Entry,
    content: &Content,
    orders: Result<Vec<OrderSpec>, Vec<String>>,
) -> Given {
    let digest = digest(entry, content);
    match orders {
        Ok(orders) => {
            let signals = signals(machine, &entry.name, &digest, orders, Timestamp(0));
            let heard = signals.into_iter().map(|signal| Heard::of(machine, signal));
            Given { signals: heard.collect(), troubles: Vec::new() }
        }
        Err(faults) => {
            let told = faults.iter().map(|fault| Told::of(Trouble::Senseless, fault));
            Given { signals: Vec::new(), troubles: told.collect() }
        }
    }
}

/// The decoder of files that were recorded.
pub(crate) fn again(machine: &MachineName) -> impl Again + 'static {
    Replayed(machine.clone())
}

struct Replayed(MachineName);

impl Again for Replayed {
    fn begin(&mut self) {}

    fn again(&mut self, _: Timestamp, raw: &Raw) -> Result<Option<Given>, String> {
        let dropped = match raw {
            Raw::File(dropped) => dropped,
            Raw::Up(_) | Raw::Lost(_) => return Ok(None),
            _ => return Err("no file drop says this".to_owned()),
        };
        let content = match &dropped.content {
            Some(bytes) => Content::Whole(bytes.bytes()?),
            None => Content::TooLarge,
        };
        let modified = SystemTime::UNIX_EPOCH.checked_add(Duration::from_nanos(dropped.modified));
        let entry = Entry {
            name: dropped.name.clone(),
            length: dropped.length,
            modified: modified.unwrap_or(SystemTime::UNIX_EPOCH),
        };
        let orders = orders_of(&entry.name, &content);
        Ok(Some(given(&self.0, &entry, &content, orders)))
    }

    fn remembers(&self) -> bool {
        false
    }

    fn unread(&self) -> Vec<String> {
        Vec::new()
    }
}
