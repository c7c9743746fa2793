//! A wash, told from a running bit and a result register.

use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::{Measurement, Said};

use super::bank::Bank;
use super::decode::code;
use super::wiring::Wash;
use crate::link::Trouble;

/// What the washer was last seen doing. Kept while the link is lost.
#[derive(Debug, Clone, Default)]
pub(crate) struct Washing {
    phase: Phase,
    stencil: Option<StencilCode>,
}

#[derive(Debug, Clone, Copy, Default, PartialEq, Eq)]
enum Phase {
    /// Not running, or never seen.
    #[default]
    Still,
    Running,
    /// Stopped, but the result register shows no result yet.
    Awaiting,
}

/// What one round says about the wash.
#[derive(Debug, Clone, Default)]
pub(crate) struct Step {
    pub(crate) said: Option<Said>,
    pub(crate) trouble: Vec<(Trouble, String)>,
}

impl Washing {
    /// Takes in one round. `first`: the link has just come up, so a wash that runs is told to
    /// have begun, even if that was told before.
    pub(crate) fn step(
        &mut self,
        wash: &Wash,
        bank: &Bank,
        first: bool,
        measured: impl FnOnce() -> Vec<Measurement>,
    ) -> Step {
        let mut step = Step::default();
        match (wash.running.read(bank), self.phase) {
            (Some(true), phase) => {
                self.see_stencil(wash, bank, phase != Phase::Running, &mut step);
                if phase == Phase::Awaiting {
                    step.trouble.push((
                        Trouble::Missing,
                        "wash-result: the next wash began before the last one showed a result"
                            .to_owned(),
                    ));
                }
                if first || phase != Phase::Running {
                    step.said =
                        Some(Said::WashBegan { code: self.stencil.clone(), programme: None });
                }
                self.phase = Phase::Running;
            }
            (Some(false), Phase::Running | Phase::Awaiting) => {
                self.see_stencil(wash, bank, false, &mut step);
                self.end(wash, bank, measured, &mut step);
            }
            (Some(false), Phase::Still) | (None, _) => {}
        }
        step
    }

    /// Notes the stencil in the washer; one that is no longer shown is still the one in the wash.
    fn see_stencil(&mut self, wash: &Wash, bank: &Bank, fresh: bool, step: &mut Step) {
        let Some(field) = &wash.stencil else { return };
        let seen = code(field, bank, "wash-stencil", &mut step.trouble);
        if fresh || seen.is_some() {
            self.stencil = seen;
        }
    }

    fn end(
        &mut self,
        wash: &Wash,
        bank: &Bank,
        measured: impl FnOnce() -> Vec<Measurement>,
        step: &mut Step,
    ) {
        let raw = wash.result.read_whole(bank);
        let listed = raw.and_then(|raw| i64::try_from(raw).ok());
        let mut outcomes = wash.outcomes.iter();
        if let Some((_, outcome)) = outcomes.find(|(key, _)| Some(key.0) == listed) {
            self.phase = Phase::Still;
            step.said = Some(Said::WashEnded {
                code: self.stencil.take(),
                programme: None,
                outcome: *outcome,
                measured: measured(),
            });
        } else if self.phase == Phase::Running {
            self.phase = Phase::Awaiting;
            let shown = raw.map_or_else(|| "nothing".to_owned(), |raw| raw.to_string());
            step.trouble.push((
                Trouble::Senseless,
                format!(
                    "wash-result: the wash ended and the register shows {shown}, which the \
                     values do not list; waiting for one that they do"
                ),
            ));
        }
    }
}
