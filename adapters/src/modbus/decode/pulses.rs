//! What is counted by its edges or by its growth, since nothing tells it as a total.

use stencilward_domain::signal::Said;

use super::{Round, whole};
use crate::modbus::bank::Bank;
use crate::modbus::wiring::{self, Contact};

/// The last level of each contact.
#[derive(Debug, Clone, Default)]
pub(super) struct Levels(Vec<Option<bool>>);

impl Levels {
    /// One event, when a contact has taken its level since the round before. What it did while
    /// the link was lost nobody knows.
    pub(super) fn step(&mut self, contacts: &[Contact], bank: &Bank, round: &mut Round) {
        self.0.resize(contacts.len(), None);
        for (contact, told) in contacts.iter().zip(&mut self.0) {
            let Some(level) = contact.flag.read(bank) else {
                continue;
            };
            let began = level && told.replace(level) == Some(false);
            *told = Some(level);
            round.said.extend(began.then(|| contact.counts.said()));
        }
    }
}

/// The last total of boards. It is kept while the link is lost: what was counted meanwhile is told
/// afterwards.
#[derive(Debug, Clone, Default)]
pub(super) struct Boards(Option<u64>);

impl Boards {
    pub(super) fn step(&mut self, boards: Option<wiring::Boards>, bank: &Bank, round: &mut Round) {
        let Some(boards) = boards else { return };
        let total = whole(boards.field, bank, "board-total", &mut round.troubles);
        let Some(total) = total.and_then(|total| u64::try_from(total).ok()) else {
            return;
        };
        let count = self.0.replace(total).map_or(0, |before| grown(before, total, boards.largest));
        round.said.extend((count > 0).then_some(Said::BoardsCounted { count }));
    }
}

/// How far a total has grown. One that fell has wrapped when that is the shorter way for a
/// counter that was nearly full; else it started again at zero.
fn grown(before: u64, now: u64, largest: u64) -> u64 {
    if now >= before {
        return now - before;
    }
    let nearly_full = before > largest - largest / 8 && now < largest / 8;
    if nearly_full {
        largest.saturating_sub(before).saturating_add(now).saturating_add(1)
    } else {
        now
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_total_grows_wraps_or_starts_again() {
        assert_eq!(grown(5, 5, 9_999), 0);
        assert_eq!(grown(5, 12, 9_999), 7);
        assert_eq!(grown(9_998, 1, 9_999), 3);
        assert_eq!(grown(5_000, 2, 9_999), 2, "it started again");
        assert_eq!(grown(u64::MAX, 0, u64::MAX), 1);
        assert_eq!(grown(65_535, 9_000, 65_535), 9_000, "no counter wraps that far unseen");
    }
}
