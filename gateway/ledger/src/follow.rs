//! Reading on as events come.

use std::sync::Arc;

use stencilward_domain::event::Position;
use tokio::sync::watch;

use crate::contract::{Entry, Ledger};
use crate::error::LedgerError;

/// Events given at once.
const PAGE: usize = 1_000;

/// Gives every event after a place once, in order, then waits for more.
pub struct Follower {
    ledger: Arc<dyn Ledger>,
    head: watch::Receiver<Position>,
    after: Position,
}

impl Follower {
    /// Follows `ledger` from the first event after `after`.
    #[must_use]
    pub fn new(ledger: Arc<dyn Ledger>, after: Position) -> Self {
        let head = ledger.head();
        Self { ledger, head, after }
    }

    /// The place of the last event given.
    #[must_use]
    pub fn after(&self) -> Position {
        self.after
    }

    /// The next events, at least one; waits until there are some. None once the ledger is closed
    /// and everything was given. Giving up the wait loses nothing.
    ///
    /// # Errors
    /// [`LedgerError`] when they cannot be read; the next call tries again.
    pub async fn next(&mut self) -> Result<Option<Vec<Entry>>, LedgerError> {
        let after = self.after;
        if self.head.wait_for(|head| *head > after).await.is_err() {
            return Ok(None);
        }
        let page = self.ledger.read(after, PAGE).await?;
        let last = page.last().ok_or(LedgerError::Missing(Position(after.0.saturating_add(1))))?;
        self.after = last.recorded.position;
        Ok(Some(page))
    }
}
