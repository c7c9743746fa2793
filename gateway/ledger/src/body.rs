//! Facts as JSON text: what an engine keeps as the body of an event.

use stencilward_domain::event::{Fact, Position, Stream};

use crate::contract::{Append, BatchId};
use crate::error::{LedgerError, Refused};

/// An append in the form in which engines keep it.
#[derive(Debug)]
pub(crate) struct Written {
    pub(crate) of: Stream,
    pub(crate) stream: String,
    pub(crate) expected: u64,
    pub(crate) batch: BatchId,
    /// The bodies one behind the other, and where each ends.
    text: String,
    ends: Vec<usize>,
}

impl Written {
    /// One for each fact.
    pub(crate) fn bodies(&self) -> impl Iterator<Item = &str> {
        let begins = std::iter::once(0).chain(self.ends.iter().copied());
        begins.zip(&self.ends).map(|(begin, end)| self.text.get(begin..*end).unwrap_or_default())
    }

    pub(crate) fn facts(&self) -> usize {
        self.ends.len()
    }
}

/// Writes an append out, unless it can be refused without looking at the ledger.
pub(crate) fn write(append: &Append) -> Result<Written, Refused> {
    let of = append.stream.clone();
    if append.facts.is_empty() {
        return Err(Refused::Empty { stream: of });
    }
    let (mut text, mut ends) = (Vec::new(), Vec::with_capacity(append.facts.len()));
    for fact in &append.facts {
        let belongs = fact.event.stream();
        if belongs != of {
            return Err(Refused::Misplaced { stream: of, belongs });
        }
        let begin = text.len();
        let written = serde_json::to_writer(&mut text, fact);
        if written.is_err() || !reads_back(text.get(begin..).unwrap_or_default(), fact) {
            return Err(Refused::Unwritable { stream: of });
        }
        ends.push(text.len());
    }
    let Ok(text) = String::from_utf8(text) else {
        return Err(Refused::Unwritable { stream: of });
    };
    let stream = of.to_string();
    Ok(Written { of, stream, expected: append.expected, batch: append.batch, text, ends })
}

/// What is durable and cannot be read would keep the gateway from ever starting again. A number
/// that JSON cannot hold is written as null, so that only a body with one need be read.
fn reads_back(body: &[u8], fact: &Fact) -> bool {
    std::str::from_utf8(body).is_ok_and(|body| {
        !body.contains("null") || serde_json::from_str(body).is_ok_and(|read: Fact| read == *fact)
    })
}

/// The fact in the body of the event at `position`.
pub(crate) fn read(position: Position, body: &str) -> Result<Fact, LedgerError> {
    serde_json::from_str(body).map_err(|source| LedgerError::unreadable(position, source))
}
