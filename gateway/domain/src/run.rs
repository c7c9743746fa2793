//! One run of a printer: what each basis says of it, and what likely makes two of them disagree.

use std::collections::{BTreeMap, BTreeSet};

use serde::{Deserialize, Serialize};

use crate::event::{Advance, Basis, BasisKind, Event, LikelyCause, Recorded};
use crate::names::StencilCode;
use crate::plant::{Bases, Tolerance};
use crate::signal::OrderSpec;
use crate::time::Timestamp;

/// Strokes that the bases of one printer tell of, from the start of an order to its end, or while
/// one stencil stays where no order is told of.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Run {
    /// Since when.
    pub since: Timestamp,
    /// Strokes by basis.
    pub strokes: BTreeMap<BasisKind, u64>,
    /// Stencils that were in the printer.
    pub stencils: BTreeSet<StencilCode>,
    /// Stencils that were in the printer since the order last told of strokes.
    pub since_order: BTreeSet<StencilCode>,
    /// Boards of its order counted so far.
    pub boards: u64,
    /// True when a counter started again or jumped.
    pub restarted: bool,
    /// True when a link or the gateway was down for a while.
    pub not_heard: bool,
}

impl Run {
    /// A run that begins with this stencil.
    #[must_use]
    pub fn begun(since: Timestamp, stencil: Option<StencilCode>) -> Self {
        let stencils: BTreeSet<_> = stencil.into_iter().collect();
        Self { since, since_order: stencils.clone(), stencils, ..Self::default() }
    }

    /// Strokes by one basis.
    #[must_use]
    pub fn by(&self, basis: BasisKind) -> u64 {
        self.strokes.get(&basis).copied().unwrap_or(0)
    }

    /// Strokes by all bases that book.
    #[must_use]
    pub fn booked(&self, bases: &Bases) -> u64 {
        let booked = self.strokes.iter().filter(|(kind, _)| !bases.check.contains(kind));
        booked.fold(0, |sum, (_, count)| sum.saturating_add(*count))
    }

    /// Takes in what an event says of this run.
    pub(crate) fn apply(&mut self, recorded: &Recorded) {
        match &recorded.fact.event {
            Event::StrokesBooked { count, basis, .. }
            | Event::StrokesUnattributed { count, basis, .. }
            | Event::StrokesChecked { count, basis, .. } => self.count(*count, basis),
            Event::Seated { stencil, .. } => {
                self.stencils.insert(stencil.clone());
                self.since_order.insert(stencil.clone());
            }
            Event::CounterDoubted { .. } | Event::RestartUnseen { .. } => self.restarted = true,
            Event::MachineDown { .. } => self.not_heard = true,
            Event::BoardsCounted { count, .. } => self.boards = self.boards.saturating_add(*count),
            _ => {}
        }
    }

    fn count(&mut self, count: u64, basis: &Basis) {
        let strokes = self.strokes.entry(basis.kind()).or_default();
        *strokes = strokes.saturating_add(count);
        if let Basis::Counter { advance, .. } | Basis::Pulses { advance, .. } = basis {
            self.restarted |= matches!(advance, Advance::Restarted | Advance::Jumped);
        }
    }

    /// The bases that are compared and lie too far from what was booked: each with its strokes and
    /// what likely made the difference. Nothing is compared with an order that says no quantity.
    #[must_use]
    pub fn disagreements(
        &self,
        bases: &Bases,
        tolerance: Tolerance,
        order: Option<&OrderSpec>,
    ) -> Vec<(BasisKind, u64, LikelyCause)> {
        let booked = self.booked(bases);
        let mut found = Vec::new();
        for kind in &bases.check {
            let checked = self.by(*kind);
            let silent_order = *kind == BasisKind::Order && !self.strokes.contains_key(kind);
            if !silent_order && tolerance.exceeded(booked, checked) {
                let by_order = *kind == BasisKind::Order || bases.book.contains(&BasisKind::Order);
                let expected = if *kind == BasisKind::Order { checked } else { booked };
                let counted = if *kind == BasisKind::Order { booked } else { checked };
                let likely = if by_order {
                    self.likely_of_order(counted, expected, order, tolerance)
                } else {
                    self.likely(booked, checked)
                };
                found.push((*kind, checked, likely));
            }
        }
        found
    }

    fn likely(&self, booked: u64, checked: u64) -> LikelyCause {
        if self.restarted {
            LikelyCause::CounterRestarted
        } else if booked == 0 || checked == 0 {
            LikelyCause::Silent
        } else if self.not_heard {
            LikelyCause::NotHeard
        } else {
            LikelyCause::Unknown
        }
    }

    fn likely_of_order(
        &self,
        counted: u64,
        expected: u64,
        order: Option<&OrderSpec>,
        tolerance: Tolerance,
    ) -> LikelyCause {
        let at_once = order.and_then(|order| order.panels_per_stroke).unwrap_or(1).max(1);
        let set_up = order.and_then(|order| order.setup_strokes).map_or(0, u64::from);
        let boards = expected.saturating_sub(set_up);
        let near = |factor: u64, divisor: u64| {
            let other = (boards.saturating_mul(factor) / divisor.max(1)).saturating_add(set_up);
            !tolerance.exceeded(counted, other)
        };
        let at_once = u64::from(at_once);
        match self.likely(counted, expected) {
            LikelyCause::Unknown => {}
            cause => return cause,
        }
        if at_once > 1 && (near(at_once, 1) || near(1, at_once)) {
            LikelyCause::WrongPanelFactor
        } else if near(2, 1) || near(3, 1) {
            LikelyCause::DoublePrint
        } else if (2..=16).any(|factor| near(1, factor) || near(factor, 1)) {
            LikelyCause::WrongPanelFactor
        } else if counted < expected {
            LikelyCause::OrderScrapped
        } else {
            LikelyCause::Unknown
        }
    }
}
