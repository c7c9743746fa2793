//! How a stencil was when it began to print, and who had allowed it.

use std::collections::BTreeMap;

use stencilward_domain::decision::Rule;
use stencilward_domain::event::{Event, Position};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::stencil::{Cleanliness, Sourced, Standing};
use stencilward_domain::wear::WearBand;

use super::figure::Tally;
use super::heard::Heard;
use super::histories::Histories;

/// A stencil's condition before its first stroke in a run.
#[derive(Debug)]
pub(super) struct Condition {
    pub(super) cleanliness: Sourced<Cleanliness>,
    pub(super) since_wash: Tally,
    pub(super) band: Sourced<WearBand>,
    /// Hundredths of N/cm.
    pub(super) tension: Option<Sourced<i64>>,
    pub(super) take: Option<Take>,
    pub(super) print: Option<Print>,
    /// The concession in force, and who granted it.
    pub(super) concession: Option<(Position, String)>,
}

/// A permitted take.
#[derive(Debug, Clone)]
pub(super) struct Take {
    pub(super) decision: Position,
    /// Who asked; none when a rack or scanner did.
    pub(super) by: Option<String>,
}

/// What the printer's interlock last said.
#[derive(Debug, Clone)]
pub(super) struct Print {
    pub(super) decision: Position,
    /// The codes of the reasons against it; none permits.
    pub(super) refused: Vec<&'static str>,
}

/// The decisions that stand.
#[derive(Debug, Default)]
pub(super) struct Allowed {
    takes: BTreeMap<StencilCode, Take>,
    prints: BTreeMap<MachineName, (Option<StencilCode>, Print)>,
}

impl Allowed {
    pub(super) fn hear(&mut self, heard: &Heard<'_>) {
        let decided = heard.recorded.position;
        let Event::Decided { decision, .. } = heard.event() else {
            return;
        };
        match (decision.rule, &decision.stencil) {
            (Rule::Take, Some(stencil)) if decision.permitted() => {
                let take = Take { decision: decided, by: decision.by.clone() };
                self.takes.insert(stencil.clone(), take);
            }
            (Rule::Print, stencil) => {
                let refused = decision.reasons.iter().map(|cause| cause.reason.code()).collect();
                let print = Print { decision: decided, refused };
                if let Some(machine) = &decision.machine {
                    self.prints.insert(machine.clone(), (stencil.clone(), print));
                }
            }
            _ => {}
        }
    }
}

impl Condition {
    /// The condition of a stencil before an event, in a printer.
    pub(super) fn before(
        heard: &Heard<'_>,
        code: &StencilCode,
        printer: &MachineName,
        (allowed, past): (&Allowed, &Histories),
    ) -> Option<Self> {
        let stencil = heard.before.stencils.get(code)?;
        let at = heard.recorded.fact.time();
        let about = |(of, print): &(Option<StencilCode>, Print)| {
            (of.as_ref() == Some(code)).then(|| print.clone())
        };
        let in_force = stencil.standing(at) == Standing::Concession;
        let granted = stencil.concession.as_ref().filter(|_| in_force);
        Some(Self {
            cleanliness: stencil.cleanliness.clone(),
            since_wash: past.of(code)?.since_wash.clone(),
            band: stencil.band.clone(),
            tension: stencil.tension.clone(),
            take: stencil.taken.and_then(|_| allowed.takes.get(code).cloned()),
            print: allowed.prints.get(printer).and_then(about),
            concession: granted.map(|granted| (granted.because, granted.value.by.clone())),
        })
    }
}
