//! Which points are read in which round.

use std::collections::BTreeMap;

use super::{Limits, Plan, Want};
use crate::modbus::wiring::Wiring;

/// The rounds of one machine. In the first one everything is read, and then each point in every
/// so many rounds as its own poll says.
#[derive(Debug, Clone)]
pub(crate) struct Rounds {
    limits: Limits,
    wants: Vec<Want>,
    /// The different spans, in rounds.
    classes: Vec<u32>,
    /// The plans made so far, by the spans that are due: a bit for each.
    plans: BTreeMap<u64, Plan>,
    round: u64,
}

impl Rounds {
    pub(crate) fn of(wiring: &Wiring) -> Self {
        Self::new(wiring.limits.clone(), wiring.wants.clone())
    }

    pub(super) fn new(limits: Limits, wants: Vec<Want>) -> Self {
        let mut classes: Vec<u32> = wants.iter().map(|want| want.every).collect();
        classes.sort_unstable();
        classes.dedup();
        Self { limits, wants, classes, plans: BTreeMap::new(), round: 0 }
    }

    /// A new connection: the next round is the first.
    pub(crate) fn start_anew(&mut self) {
        self.round = 0;
    }

    /// What this round reads.
    pub(crate) fn due(&mut self) -> &Plan {
        let round = self.round;
        let is_due = |every: u32| round.is_multiple_of(u64::from(every));
        let bits = self.classes.iter().map(|every| u64::from(is_due(*every)));
        let due = bits.fold(0, |due, bit| due << 1 | bit);
        self.plans.entry(due).or_insert_with(|| {
            let wants = self.wants.iter().filter(|want| is_due(want.every));
            Plan::for_wants(&self.limits, &wants.copied().collect::<Vec<Want>>())
        })
    }

    /// This round was read; the next one is due.
    pub(crate) fn done(&mut self) {
        self.round = self.round.wrapping_add(1);
    }
}
