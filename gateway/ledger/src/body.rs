//! Facts as JSON text: what an engine keeps as the body of an event.

use stencilward_domain::event::{Fact, Position};

use crate::contract::Append;
use crate::error::{LedgerError, Refused};

/// An append in the form in which engines keep it.
#[derive(Debug)]
pub(crate) struct Written {
    pub(crate) append: Append,
    pub(crate) stream: String,
    /// One for each fact.
    pub(crate) bodies: Vec<String>,
}

/// Writes an append out, unless it can be refused without looking at the ledger.
///
/// Each body is read back at once: what is durable and cannot be read would keep the gateway
/// from ever starting again.
pub(crate) fn write(append: Append) -> Result<Written, Refused> {
    let stream = || append.stream.clone();
    if append.facts.is_empty() {
        return Err(Refused::Empty { stream: stream() });
    }
    let mut bodies = Vec::with_capacity(append.facts.len());
    for fact in &append.facts {
        let belongs = fact.event.stream();
        if belongs != append.stream {
            return Err(Refused::Misplaced { stream: stream(), belongs });
        }
        let body = serde_json::to_string(fact).ok();
        let same = |body: &String| serde_json::from_str(body).is_ok_and(|read: Fact| read == *fact);
        bodies.push(body.filter(same).ok_or_else(|| Refused::Unwritable { stream: stream() })?);
    }
    Ok(Written { stream: append.stream.to_string(), bodies, append })
}

/// The fact in the body of the event at `position`.
pub(crate) fn read(position: Position, body: &str) -> Result<Fact, LedgerError> {
    serde_json::from_str(body).map_err(|source| LedgerError::unreadable(position, source))
}
