//! A wash, told from a running bit and a result register.

use stencilward_domain::names::{BadName, StencilCode};
use stencilward_domain::signal::Said;

use super::bank::Bank;
use super::decode::{measurements, name, whole};
use super::wiring::{Gauge, Wash};
use crate::link::Trouble;

/// What the washer was last seen doing. Kept while the link is lost.
#[derive(Debug, Clone, Default)]
pub(crate) struct Washing {
    phase: Phase,
    stencil: Option<StencilCode>,
    programme: Option<String>,
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
    pub(crate) fn step(&mut self, wash: &Wash, gauges: &[Gauge], bank: &Bank, first: bool) -> Step {
        let mut step = Step::default();
        match (wash.running.read(bank), self.phase) {
            (Some(true), phase) => {
                self.see_load(wash, bank, phase != Phase::Running, &mut step);
                if phase == Phase::Awaiting {
                    step.trouble.push((
                        Trouble::Missing,
                        "wash-result: the next wash began before the last one showed a result"
                            .to_owned(),
                    ));
                }
                if first || phase != Phase::Running {
                    let (code, programme) = (self.stencil.clone(), self.programme.clone());
                    step.said = Some(Said::WashBegan { code, programme });
                }
                self.phase = Phase::Running;
            }
            (Some(false), Phase::Running | Phase::Awaiting) => {
                self.see_load(wash, bank, false, &mut step);
                self.end(wash, gauges, bank, &mut step);
            }
            (Some(false), Phase::Still) | (None, _) => {}
        }
        step
    }

    /// Notes the stencil in the washer and its programme; what is no longer shown is still what
    /// is in the wash.
    fn see_load(&mut self, wash: &Wash, bank: &Bank, fresh: bool, step: &mut Step) {
        if fresh {
            (self.stencil, self.programme) = (None, None);
        }
        let trouble = &mut step.trouble;
        let stencil = wash.stencil.as_ref();
        let seen =
            stencil.and_then(|field| name(field, bank, StencilCode::new, "wash-stencil", trouble)?);
        self.stencil = seen.or(self.stencil.take());
        let programme = wash.programme.as_ref();
        let seen = programme.and_then(|field| name(field, bank, plain, "wash-programme", trouble)?);
        self.programme = seen.or(self.programme.take());
    }

    fn end(&mut self, wash: &Wash, gauges: &[Gauge], bank: &Bank, step: &mut Step) {
        let raw = whole(wash.result, bank, "wash-result", &mut step.trouble);
        let listed = raw.and_then(|raw| i64::try_from(raw).ok());
        let mut outcomes = wash.outcomes.iter();
        if let Some((_, outcome)) = outcomes.find(|(key, _)| Some(key.0) == listed) {
            self.phase = Phase::Still;
            step.said = Some(Said::WashEnded {
                code: self.stencil.take(),
                programme: self.programme.take(),
                outcome: *outcome,
                measured: measurements(gauges, bank),
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

/// The name of a programme: any text without control characters.
fn plain(text: &str) -> Result<String, BadName> {
    let text = text.trim();
    if text.is_empty() {
        Err(BadName::Empty)
    } else if text.chars().any(char::is_control) {
        Err(BadName::Control)
    } else {
        Ok(text.to_owned())
    }
}
