//! Walking the chain.

use stencilward_domain::event::Position;

use crate::chain::{GENESIS, Hash};
use crate::contract::{Ledger, Row};
use crate::error::LedgerError;

/// Rows read at once.
pub(crate) const PAGE: usize = 2_000;

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
    after: Position,
    hash: Hash,
    mut progress: impl FnMut(Position) + Send,
) -> Result<Verified, LedgerError> {
    let mut walk = Walk::after(after, hash);
    loop {
        let page = ledger.rows(walk.head, PAGE).await?;
        if let Some(found) = walk.along(&page) {
            return Ok(found);
        }
        progress(walk.head);
        tokio::task::yield_now().await;
    }
}

/// How far a walk has come.
pub(crate) struct Walk {
    pub(crate) head: Position,
    hash: Hash,
}

impl Walk {
    /// Before the first event.
    pub(crate) const BEGIN: Self = Self { head: Position(0), hash: GENESIS };

    /// After the event at `head`, which has this hash.
    pub(crate) fn after(head: Position, hash: Hash) -> Self {
        Self { head, hash }
    }

    /// Goes along the next rows; tells what was found once it is over, which an empty page ends.
    pub(crate) fn along(&mut self, page: &[Row]) -> Option<Verified> {
        if page.is_empty() {
            return Some(Verified::Whole { head: self.head, hash: self.hash });
        }
        for row in page {
            let next = Position(self.head.0.saturating_add(1));
            match follows(row, next, &self.hash) {
                Some(found) => (self.head, self.hash) = (next, found),
                None => return Some(Verified::Broken { at: next }),
            }
        }
        None
    }
}

/// The row's hash, when it is the next one and its hash is right.
fn follows(row: &Row, position: Position, previous: &Hash) -> Option<Hash> {
    let hash = row.link().hash(previous);
    (row.position == position.0 && row.hash == hash).then_some(hash)
}
