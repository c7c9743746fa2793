//! Reading a closed ledger from its file.

use std::path::Path;

use stencilward_domain::event::{Event, Position, Recorded};
use stencilward_ledger::{Ledger, SqliteLedger, Verified, verify};

/// Every event of the ledger in this file, after its chain was found whole.
///
/// # Panics
/// When it cannot be opened or read, or its chain is broken.
pub async fn events(path: &Path) -> Vec<Event> {
    recorded(path).await.into_iter().map(|recorded| recorded.fact.event).collect()
}

/// The same with what is known of each event's origin.
///
/// # Panics
/// Like [`events`].
pub async fn recorded(path: &Path) -> Vec<Recorded> {
    let ledger = SqliteLedger::open(path).unwrap_or_else(|error| panic!("{error}"));
    match verify(&ledger, |_| {}).await {
        Ok(Verified::Whole { .. }) => {}
        other => panic!("the chain is not whole: {other:?}"),
    }
    let mut events = Vec::new();
    let mut position = Position(0);
    loop {
        let page = match ledger.read(position, 10_000).await {
            Ok(page) => page,
            Err(error) => panic!("{error}"),
        };
        let Some(last) = page.last() else {
            return events;
        };
        position = last.recorded.position;
        events.extend(page.into_iter().map(|entry| entry.recorded));
    }
}
