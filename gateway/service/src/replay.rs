//! The ledger's events from the first to the last, to build a state from.

use std::collections::HashMap;

use anyhow::Context as _;
use stencilward_domain::event::{Position, Recorded, Stream};
use stencilward_ledger::{Entry, Ledger, LedgerError, Reader};

/// Events read from the ledger at once.
const PAGE: usize = 10_000;

/// A word about the progress after so many events.
const LONG: u64 = 250_000;

/// Gives every event in order, and at the end each stream's version.
///
/// # Errors
/// When the ledger cannot be read.
pub(crate) async fn replay(
    ledger: &dyn Ledger,
    mut each: impl FnMut(&Recorded),
) -> anyhow::Result<HashMap<Stream, u64>> {
    let mut versions = HashMap::new();
    let mut position = Position(0);
    loop {
        let page = ledger.read(position, PAGE).await.context("cannot read the ledger")?;
        let Some(last) = page.last() else { break };
        position = last.recorded.position;
        for entry in &page {
            each(&entry.recorded);
            versions.insert(entry.recorded.fact.event.stream(), entry.version);
        }
        tracing::info!(events = position.0, "replaying the ledger");
    }
    Ok(versions)
}

/// Gives every event in order as a reader beside the gateway sees it, until one is refused.
/// Where there are many, tells of the progress on standard error.
///
/// # Errors
/// When the ledger cannot be read, or as `each` has them.
pub(crate) fn read_through<E: From<LedgerError>>(
    ledger: &mut Reader,
    mut each: impl FnMut(&Entry) -> Result<(), E>,
) -> Result<(), E> {
    let mut position = Position(0);
    loop {
        let page = ledger.read(position, PAGE)?;
        let Some(last) = page.last() else { return Ok(()) };
        position = last.recorded.position;
        page.iter().try_for_each(&mut each)?;
        if position.0.is_multiple_of(LONG) {
            eprintln!("read {} events", position.0);
        }
    }
}
