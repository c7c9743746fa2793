//! What people find out later: strokes entered by hand, assigned, written off, corrected. Nothing
//! is edited: each is an event that refers to the one it is about.

use super::Site;
use super::requests::{Done, Reply};
use crate::asked::RequestKey;
use crate::event::{Basis, Event, Position, Recorded};
use crate::names::{MachineName, StencilCode};
use crate::signal::WashOutcome;
use crate::time::Timestamp;

/// Rated lives that a person may enter at once; more is a slip.
const LIVES_AT_ONCE: u64 = 10;

/// Strokes of one stencil.
pub type Share = (StencilCode, u64);

/// A correction of an event in the ledger.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Correction {
    /// What was wrong with it.
    pub what: Wrong,
    /// Who says so.
    pub by: String,
    /// Why.
    pub why: String,
}

/// What was wrong with an event.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Wrong {
    /// Its strokes were made by these stencils. Those not named made none of them.
    Strokes(Vec<Share>),
    /// Its wash was none.
    Wash,
}

impl Site {
    /// Takes in the correction of `original`, as the ledger has it.
    pub fn correct(
        &mut self,
        original: &Recorded,
        correction: &Correction,
        now: Timestamp,
    ) -> Reply {
        self.correct_with(original, correction, None, now)
    }

    /// The same; what follows from it bears this key.
    pub fn correct_with(
        &mut self,
        original: &Recorded,
        correction: &Correction,
        key: Option<RequestKey>,
        now: Timestamp,
    ) -> Reply {
        self.originate(now);
        self.origin.asked_with = key;
        let first = self.fresh.len();
        let done = match &correction.what {
            Wrong::Strokes(shares) => self.correct_strokes(original, shares, correction),
            Wrong::Wash => self.annul_wash(original, correction),
        };
        self.replied(done, first)
    }

    fn correct_strokes(
        &mut self,
        original: &Recorded,
        shares: &[Share],
        correction: &Correction,
    ) -> Done {
        let (stencil, machine, count) = match &original.fact.event {
            Event::StrokesBooked { stencil, machine, count, .. }
            | Event::StrokesAssigned { stencil, machine, count, .. } => {
                (stencil, Some(machine), *count)
            }
            Event::StencilRegistered { spec, starting_strokes, .. } => {
                (&spec.stencil, None, *starting_strokes)
            }
            _ => {
                return Err(format!(
                    "event {} books no strokes: name one that books, assigns or begins with some",
                    original.position
                ));
            }
        };
        if machine.is_none() && shares.iter().any(|(other, _)| other != stencil) {
            return Err(format!("the strokes at the start of {stencil} are no other stencil's"));
        }
        self.all_known(shares)?;
        let corrects = original.position;
        let mut now_counting = self.state.corrected.get(&corrects).cloned().unwrap_or_default();
        now_counting.entry(stencil.clone()).or_insert(count);
        for (other, _) in shares {
            now_counting.entry(other.clone()).or_insert(0);
        }
        let made = (!self.state.timed.is_empty()).then(|| match &original.fact.event {
            Event::StrokesAssigned { until, .. } => *until,
            _ => original.fact.time(),
        });
        for (stencil, was) in now_counting {
            let named = shares.iter().filter(|(other, _)| *other == stencil);
            let is = named.fold(0u64, |sum, (_, count)| sum.saturating_add(*count));
            if is != was {
                self.record(Event::StrokesCorrected {
                    stencil: stencil.clone(),
                    machine: machine.cloned(),
                    corrects,
                    was,
                    is,
                    made,
                    by: correction.by.clone(),
                    why: correction.why.clone(),
                });
                self.note_band(&stencil);
            }
        }
        Ok(())
    }

    fn annul_wash(&mut self, original: &Recorded, correction: &Correction) -> Done {
        let Event::WashEnded { stencil, outcome: WashOutcome::Passed, .. } = &original.fact.event
        else {
            return Err(format!("event {} is no wash that passed", original.position));
        };
        if self.state.annulled.contains(&original.position) {
            return Err(format!("the wash of event {} is annulled already", original.position));
        }
        self.record(Event::WashAnnulled {
            stencil: stencil.clone(),
            corrects: original.position,
            by: correction.by.clone(),
            why: correction.why.clone(),
        });
        self.note_band(stencil);
        Ok(())
    }

    fn all_known(&self, shares: &[Share]) -> Done {
        shares.iter().try_for_each(|(stencil, _)| self.known(stencil).map(|_| ()))
    }

    /// Strokes that only a person knows of.
    pub(super) fn enter(
        &mut self,
        (stencil, strokes): (&StencilCode, u64),
        machine: &MachineName,
        by: &str,
        why: &str,
    ) -> Done {
        self.known(stencil)?;
        self.is_printer(machine)?;
        if strokes == 0 {
            return Err("no strokes to enter: give their number".to_owned());
        }
        let most = self.known(stencil)?.spec.rated_strokes.saturating_mul(LIVES_AT_ONCE);
        if strokes > most {
            return Err(format!(
                "{strokes} strokes are {LIVES_AT_ONCE} lives of {stencil} and \
                                more: check the number"
            ));
        }
        let basis = Basis::Hand { by: by.to_owned(), reason: why.to_owned() };
        let (stencil, machine) = (stencil.clone(), machine.clone());
        self.record(Event::StrokesBooked {
            stencil: stencil.clone(),
            machine,
            count: strokes,
            basis,
        });
        self.note_band(&stencil);
        Ok(())
    }

    /// A person says whose strokes of an event are that nobody could attribute.
    pub(super) fn assign(
        &mut self,
        of: Position,
        shares: &[Share],
        write_off: u64,
        by: &str,
        why: &str,
    ) -> Done {
        let Some(open) = self.state.unattributed.get(&of).cloned() else {
            return Err(format!(
                "no strokes of event {of} are open: see the list of those that are"
            ));
        };
        self.all_known(shares)?;
        let assigned = shares.iter().fold(write_off, |sum, (_, count)| sum.saturating_add(*count));
        if assigned == 0 {
            return Err("nothing is assigned or written off: give a number of strokes".to_owned());
        }
        if assigned > open.left {
            return Err(format!("{assigned} strokes are more than the {} left open", open.left));
        }
        for (stencil, count) in shares.iter().filter(|(_, count)| *count > 0) {
            self.record(Event::StrokesAssigned {
                stencil: stencil.clone(),
                machine: open.machine.clone(),
                of,
                until: open.until,
                count: *count,
                by: by.to_owned(),
                why: why.to_owned(),
            });
            self.note_band(stencil);
        }
        if write_off > 0 {
            let (by, why) = (by.to_owned(), why.to_owned());
            self.record(Event::StrokesWrittenOff {
                machine: open.machine,
                of,
                count: write_off,
                by,
                why,
            });
        }
        Ok(())
    }
}
