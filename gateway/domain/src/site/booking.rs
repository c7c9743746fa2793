//! Booking: strokes and wipes go to the stencil that made them, or visibly to nobody.

use std::collections::BTreeSet;

use super::Site;
use crate::counter::possible;
use crate::event::{Basis, BasisKind, Event, WhyUnattributed};
use crate::names::{MachineName, StencilCode};
use crate::time::Timestamp;

/// The longest time whose strokes are believed in one message.
const ONE_DAY: std::time::Duration = std::time::Duration::from_secs(24 * 3_600);

/// Strokes that were made.
pub(super) struct Made {
    /// By which printer.
    pub(super) machine: MachineName,
    pub(super) count: u64,
    pub(super) basis: Basis,
    /// Stencils that may have made them.
    pub(super) candidates: BTreeSet<StencilCode>,
    /// Not before.
    pub(super) since: Timestamp,
    /// Why they are nobody's, whoever the candidates are.
    pub(super) doubt: Option<WhyUnattributed>,
}

impl Site {
    /// Strokes reported as such, one by one or in lots. More in one message than the printer could
    /// do in a day are not believed.
    pub(super) fn strokes_done(&mut self, source: &MachineName, count: u64) {
        if let Some(mut made) = self.reported(source, count) {
            if count > possible(ONE_DAY, self.plant.fastest_cycle(&made.machine)) {
                made.doubt = Some(WhyUnattributed::Implausible);
            } else if self.overtaken(&made.machine, source) {
                made.doubt = Some(WhyUnattributed::SeatUnconfirmed);
            }
            self.attribute(made);
        }
    }

    /// Understencil wipes reported as such.
    pub(super) fn wipes_done(&mut self, source: &MachineName, count: u64) {
        if let Some(made) = self.reported(source, count) {
            self.wiped(made);
        }
    }

    fn reported(&self, source: &MachineName, count: u64) -> Option<Made> {
        let machine = self.plant.printer_of(source);
        let by_machine = (machine != *source).then(|| source.clone());
        let (candidates, doubt) = match self.in_machine_then(&machine) {
            Ok(candidates) => (candidates, None),
            Err(why) => (BTreeSet::new(), Some(why)),
        };
        let (basis, since) = (Basis::Reported { by_machine }, self.then());
        (count > 0).then_some(Made { machine, count, basis, candidates, since, doubt })
    }

    /// Where the word of a change comes by another way than that of strokes, from a scan or another
    /// machine, it may overtake messages that wait for their link. True until those that waited must
    /// have come.
    pub(super) fn overtaken(&self, machine: &MachineName, source: &MachineName) -> bool {
        let Some(live) = self.live.get(source) else {
            return false;
        };
        let known = self.state.machines.get(machine);
        let changed = known
            .and_then(|machine| machine.seat.as_ref())
            .is_some_and(|seat| seat.since > live.heard_before);
        let settling =
            live.up_since.is_some_and(|up| self.origin.at.apart(up) < self.plant.policy.seat_wait);
        let one_way = machine == source && self.plant.names_stencil(machine);
        // What is told late says when it happened.
        changed && settling && live.resumed && !one_way && self.origin.happened.is_none()
    }

    pub(super) fn seat_code(&self, machine: &MachineName) -> Option<StencilCode> {
        Some(self.state.machines.get(machine)?.seat.as_ref()?.code.clone())
    }

    /// True when what this machine counts of the printer's strokes is booked.
    pub(super) fn books(&self, printer: &MachineName, source: &MachineName) -> bool {
        let own = printer == source;
        self.plant.books(printer, if own { BasisKind::Counter } else { BasisKind::Pulses })
    }

    /// Books strokes to the one stencil that can have made them; else to nobody. Strokes by a basis
    /// that is only compared are kept apart.
    pub(super) fn attribute(&mut self, made: Made) {
        let Made { machine, count, basis, candidates, .. } = &made;
        if !self.plant.books(machine, basis.kind()) {
            let (machine, count, basis) = (machine.clone(), *count, basis.clone());
            self.record(Event::StrokesChecked { machine, count, basis });
            return;
        }
        match self.maker(machine, candidates, made.doubt) {
            Ok(stencil) => {
                self.record(Event::StrokesBooked {
                    stencil: stencil.clone(),
                    machine: made.machine,
                    count: made.count,
                    basis: made.basis,
                });
                self.note_band(&stencil);
            }
            Err(why) => self.unattributed(Made { doubt: Some(why), ..made }),
        }
    }

    /// The stencil that made strokes for certain, or why nobody knows.
    fn maker(
        &self,
        machine: &MachineName,
        candidates: &BTreeSet<StencilCode>,
        doubt: Option<WhyUnattributed>,
    ) -> Result<StencilCode, WhyUnattributed> {
        if let Some(why) = doubt {
            return Err(why);
        }
        let sure = self.kept_its_word(machine) || self.seat_sure(machine, self.origin.at);
        let mut all = candidates.iter();
        match (all.next(), all.next()) {
            _ if !sure => Err(WhyUnattributed::SeatUnconfirmed),
            (None, _) => Err(WhyUnattributed::NothingSeated),
            (Some(_), Some(_)) => Err(WhyUnattributed::ChangedMeanwhile),
            (Some(only), None) if !self.state.stencils.contains_key(only) => {
                Err(WhyUnattributed::UnknownStencil)
            }
            (Some(only), None) => Ok(only.clone()),
        }
    }

    pub(super) fn unattributed(&mut self, made: Made) {
        self.record(Event::StrokesUnattributed {
            machine: made.machine,
            count: made.count,
            since: made.since,
            candidates: made.candidates.into_iter().collect(),
            why: made.doubt.unwrap_or(WhyUnattributed::SeatUnconfirmed),
            basis: made.basis,
        });
    }

    /// Wipes are counted apart, and never wear a stencil.
    pub(super) fn wiped(&mut self, made: Made) {
        let stencil = self.maker(&made.machine, &made.candidates, made.doubt).ok();
        let Made { machine, count, basis, .. } = made;
        self.record(Event::WipesCounted { stencil, machine, count, basis });
    }
}
