//! The last events of the plant, read once and kept for everybody who looks at them.

use std::collections::VecDeque;
use std::sync::Arc;

use stencilward_domain::event::{Position, Recorded};
use stencilward_ledger::{Entry, Ledger, LedgerError};
use tokio::sync::Mutex;

/// Events kept.
const KEPT: usize = 2_000;

#[derive(Default)]
pub(super) struct Recent(Mutex<VecDeque<Arc<Recorded>>>);

impl Recent {
    /// The last `limit` events, as far as they are kept, latest first.
    pub(super) async fn last(
        &self,
        ledger: &dyn Ledger,
        limit: usize,
    ) -> Result<Vec<Arc<Recorded>>, LedgerError> {
        let mut kept = self.0.lock().await;
        catch_up(&mut kept, ledger).await?;
        Ok(kept.iter().rev().take(limit).cloned().collect())
    }

    /// The events after this one, as far as they are kept, latest first.
    pub(super) async fn after(
        &self,
        ledger: &dyn Ledger,
        after: Position,
    ) -> Result<Vec<Arc<Recorded>>, LedgerError> {
        let mut kept = self.0.lock().await;
        catch_up(&mut kept, ledger).await?;
        Ok(kept.iter().rev().take_while(|one| one.position > after).cloned().collect())
    }
}

async fn catch_up(
    kept: &mut VecDeque<Arc<Recorded>>,
    ledger: &dyn Ledger,
) -> Result<(), LedgerError> {
    let head = *ledger.head().borrow();
    let oldest = Position(head.0.saturating_sub(KEPT as u64));
    let known = kept.back().map_or(oldest, |last| last.position.max(oldest));
    if known < head {
        let new = ledger.read(known, KEPT).await?;
        kept.extend(new.into_iter().map(|Entry { recorded, .. }| Arc::new(recorded)));
        kept.drain(..kept.len().saturating_sub(KEPT));
    }
    Ok(())
}
