//! Walking the chain.

use stencilward_domain::event::Position;

use crate::chain::{GENESIS, Hash};
use crate::contract::{Ledger, Row};
use crate::error::LedgerError;

/// Rows read at once.
const PAGE: usize = 2_000;

/// What a walk along the chain found.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Verified {
    /// Every event fits the one before it.
    Whole {
        /// The last event's place.
        head: Position,
        /// The last event's hash: compare it with one noted elsewhere to find a cut end, or a
        /// chain that was computed anew.
        hash: Hash,
    },
    /// The event at this place was edited, moved or taken out, or the one before it was edited
    /// together with its hash.
    Broken {
        /// The first place that does not fit.
        at: Position,
    },
}

/// Walks the whole chain; `progress` hears of each page's last place.
///
/// # Errors
/// [`LedgerError`] when the storage fails.
pub async fn verify(
    ledger: &dyn Ledger,
    progress: impl FnMut(Position) + Send,
) -> Result<Verified, LedgerError> {
    walk(ledger, Position(0), GENESIS, progress).await
}

/// Walks the chain after `after`, whose own hash is believed; `progress` hears of each page's
/// last place.
///
/// # Errors
/// [`LedgerError`] when the storage fails, or there is no event at `after`.
pub async fn verify_after(
    ledger: &dyn Ledger,
    after: Position,
    progress: impl FnMut(Position) + Send,
) -> Result<Verified, LedgerError> {
    let Some(before) = after.0.checked_sub(1) else {
        return verify(ledger, progress).await;
    };
    let believed = ledger.rows(Position(before), 1).await?;
    let Some(row) = believed.first().filter(|row| row.position == after.0) else {
        return Err(LedgerError::Missing(after));
    };
    match Hash::try_from(row.hash.as_slice()) {
        Ok(hash) => walk(ledger, after, hash, progress).await,
        Err(_) => Ok(Verified::Broken { at: after }),
    }
}

async fn walk(
    ledger: &dyn Ledger,
    mut head: Position,
    mut hash: Hash,
    mut progress: impl FnMut(Position) + Send,
) -> Result<Verified, LedgerError> {
    loop {
        let page = ledger.rows(head, PAGE).await?;
        if page.is_empty() {
            return Ok(Verified::Whole { head, hash });
        }
        for row in &page {
            let next = Position(head.0.saturating_add(1));
            match follows(row, next, &hash) {
                Some(found) => (head, hash) = (next, found),
                None => return Ok(Verified::Broken { at: next }),
            }
        }
        progress(head);
        tokio::task::yield_now().await;
    }
}

/// The row's hash, when it is the next one and its hash is right.
fn follows(row: &Row, position: Position, previous: &Hash) -> Option<Hash> {
    let hash = row.link().hash(previous);
    (row.position == position.0 && row.hash == hash).then_some(hash)
}
