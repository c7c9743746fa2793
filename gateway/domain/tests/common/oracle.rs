//! A second opinion: what may be stored and printed with, from the ledger alone and by the
//! simplest rules that can be written down.

use std::collections::BTreeMap;

use stencilward_domain::decision::Rule;
use stencilward_domain::event::{Event, Recorded};
use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::WashOutcome;
use stencilward_domain::time::Timestamp;

/// What is known of one stencil.
#[derive(Default)]
struct Known {
    strokes: u64,
    rated: u64,
    washed: bool,
    held: bool,
    retired: bool,
    allowed: Option<(u64, Option<Timestamp>)>,
}

impl Known {
    fn stopped(&self) -> bool {
        u128::from(self.strokes) * 100 >= u128::from(self.rated) * 99
    }

    fn usable(&self, now: Timestamp) -> bool {
        let allowed = self
            .allowed
            .is_some_and(|(left, until)| left > 0 && until.is_none_or(|until| now < until));
        !self.held && !self.retired && (!self.stopped() || allowed)
    }

    fn printed(&mut self, count: u64) {
        if self.stopped()
            && let Some((left, _)) = &mut self.allowed
        {
            *left = left.saturating_sub(count);
        }
        self.strokes = self.strokes.saturating_add(count);
        self.washed = false;
    }
}

/// What is known of all.
#[derive(Default)]
pub(crate) struct Oracle(BTreeMap<StencilCode, Known>);

impl Oracle {
    /// True when the stencil may be printed with, as far as itself is concerned.
    pub(crate) fn is_usable(&self, code: &StencilCode, now: Timestamp) -> bool {
        self.0.get(code).is_some_and(|known| known.usable(now))
    }

    /// Takes in the next event.
    ///
    /// # Errors
    /// What the ledger holds that it should not.
    pub(crate) fn judge(&mut self, recorded: &Recorded) -> Result<(), String> {
        let now = recorded.fact.at;
        match &recorded.fact.event {
            Event::Decided { decision, .. } if decision.permitted() => {
                let known = decision.stencil.as_ref().and_then(|code| self.0.get(code));
                let known = known.ok_or("permits what nobody knows")?;
                let good = match decision.rule {
                    Rule::Store => known.washed,
                    Rule::Take => known.washed && known.usable(now),
                    Rule::Print => known.usable(now),
                };
                return good.then_some(()).ok_or(format!("permits {decision}"));
            }
            Event::Stored { stencil, .. } => {
                let washed = self.0.get(stencil).is_some_and(|known| known.washed);
                return washed.then_some(()).ok_or(format!("stored {stencil}"));
            }
            Event::StrokesUnattributed { candidates, .. } => {
                for code in candidates {
                    self.change(code, |known| known.washed = false);
                }
            }
            event => self.follow(event),
        }
        Ok(())
    }

    fn follow(&mut self, event: &Event) {
        match event {
            Event::StencilRegistered { spec, starting_strokes, clean, .. } => {
                let new = Known {
                    strokes: *starting_strokes,
                    rated: spec.rated_strokes,
                    washed: *clean,
                    ..Known::default()
                };
                self.0.insert(spec.stencil.clone(), new);
            }
            Event::StrokesBooked { stencil, count, .. } => {
                self.change(stencil, |known| known.printed(*count));
            }
            Event::WashBegan { stencil, .. } => self.change(stencil, |known| known.washed = false),
            Event::WashEnded { stencil, outcome, .. } => {
                let passed = *outcome == WashOutcome::Passed;
                self.change(stencil, |known| known.washed = passed);
            }
            Event::HoldPlaced { stencil, .. } => self.change(stencil, |known| known.held = true),
            Event::HoldReleased { stencil, .. } => self.change(stencil, |known| known.held = false),
            Event::Retired { stencil, .. } => self.change(stencil, |known| known.retired = true),
            Event::ConcessionGranted { stencil, strokes, valid_until, .. } => {
                let allowed = Some((*strokes, *valid_until));
                self.change(stencil, |known| known.allowed = allowed);
            }
            Event::ConcessionWithdrawn { stencil, .. } => {
                self.change(stencil, |known| known.allowed = None);
            }
            _ => {}
        }
    }

    fn change(&mut self, code: &StencilCode, change: impl FnOnce(&mut Known)) {
        if let Some(known) = self.0.get_mut(code) {
            change(known);
        }
    }
}
