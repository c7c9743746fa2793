//! The ledger's events in order, to build a state from.

use stencilward_domain::event::Position;
use stencilward_ledger::{Entry, Ledger, LedgerError, Reader};

/// Events read from the ledger at once.
const PAGE: usize = 2_000;

/// A word about the progress after so many events.
pub(crate) const LONG: u64 = 250_000;

/// The events after one place, up to another, in order and page by page.
pub(crate) struct Pages<'a> {
    ledger: &'a dyn Ledger,
    position: Position,
    until: Position,
}

impl<'a> Pages<'a> {
    /// Those after `position`, up to `until`, which the ledger has.
    pub(crate) fn of(ledger: &'a dyn Ledger, position: Position, until: Position) -> Self {
        Self { ledger, position, until }
    }

    /// Up to where they were given.
    pub(crate) fn position(&self) -> Position {
        self.position
    }

    /// The next page; none at the end.
    ///
    /// # Errors
    /// When the ledger cannot be read, or ends before.
    pub(crate) async fn next(&mut self) -> Result<Option<Vec<Entry>>, LedgerError> {
        let left = self.until.0.saturating_sub(self.position.0);
        if left == 0 {
            return Ok(None);
        }
        let limit = usize::try_from(left).unwrap_or(usize::MAX).min(PAGE);
        let page = self.ledger.read(self.position, limit).await?;
        let next = Position(self.position.0 + 1);
        self.position = page.last().ok_or(LedgerError::Missing(next))?.recorded.position;
        Ok(Some(page))
    }
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
