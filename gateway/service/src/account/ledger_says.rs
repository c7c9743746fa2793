//! What the ledger says happened, read anew from its file.

use anyhow::Context as _;
use stencilward_config::Configuration;
use stencilward_domain::decision::Rule;
use stencilward_domain::event::{Event, Position};
use stencilward_domain::signal::WashOutcome;
use stencilward_ledger::{Ledger, SqliteLedger, Verified, verify};

use crate::plant::tally::{Count, Done};

/// Events read at once.
const PAGE: usize = 10_000;

/// The ledger's account.
pub(crate) struct Said {
    pub(super) count: Count,
    pub(super) events: u64,
    /// What the gateway could not make sense of, in words.
    pub(crate) findings: Vec<String>,
}

pub(crate) async fn ledger_says(configuration: &Configuration) -> anyhow::Result<Said> {
    let ledger = SqliteLedger::open(&configuration.ledger).context("the ledger, read anew")?;
    let verified = verify(&ledger, |_| {}).await?;
    anyhow::ensure!(
        matches!(verified, Verified::Whole { .. }),
        "the ledger's chain is broken: {verified:?}"
    );
    let mut said = Said { count: Count::default(), events: 0, findings: Vec::new() };
    let mut position = Position(0);
    loop {
        let page = ledger.read(position, PAGE).await?;
        let Some(last) = page.last() else {
            return Ok(said);
        };
        position = last.recorded.position;
        for entry in &page {
            said.events += 1;
            said.take(&entry.recorded.fact.event);
            said.findings.extend(finding(&entry.recorded.fact.event));
        }
    }
}

impl Said {
    fn take(&mut self, event: &Event) {
        match event {
            Event::StrokesBooked { stencil, machine, count, .. } => {
                self.of(stencil).strokes += count;
                *self.count.machines.entry(machine.clone()).or_default() += count;
            }
            Event::StrokesUnattributed { machine, count, .. } => {
                self.count.nobodys += count;
                *self.count.machines.entry(machine.clone()).or_default() += count;
            }
            Event::WashEnded { stencil, outcome: WashOutcome::Passed, .. } => {
                self.of(stencil).washes += 1;
            }
            Event::Stored { stencil, .. } => self.of(stencil).stored += 1,
            Event::Taken { stencil, permitted: true, .. } => self.of(stencil).taken += 1,
            Event::Decided { decision, .. }
                if decision.rule != Rule::Print && !decision.permitted() =>
            {
                if let Some(stencil) = &decision.stencil {
                    self.of(stencil).refused += 1;
                }
            }
            _ => {}
        }
    }

    fn of(&mut self, stencil: &stencilward_domain::names::StencilCode) -> &mut Done {
        self.count.stencils.entry(stencil.clone()).or_default()
    }
}

/// What an event says of something that does not fit, in words.
fn finding(event: &Event) -> Option<String> {
    Some(match event {
        Event::CounterDoubted { machine, counter, last, raw, possible } => format!(
            "{machine}: counter {counter} went from {last} to {raw}, where {possible} strokes were \
             possible"
        ),
        Event::RestartUnseen { machine, counter, last, raw, at_most } => format!(
            "{machine}: counter {counter} began again unseen between {last} and {raw}; at most \
             {at_most} strokes are lost"
        ),
        Event::StrokesUnattributed { machine, count, why, .. } => {
            format!("{machine}: {count} strokes nobody can attribute: {}", why.in_words())
        }
        Event::BasesDisagreed { machine, booked, checked_by, checked, .. } => format!(
            "{machine}: {booked} strokes booked in a run, {checked} by {}",
            checked_by.as_str()
        ),
        Event::WashUnmatched(unmatched) => {
            format!("{}: a wash fits nothing: {}", unmatched.machine, unmatched.why)
        }
        Event::ClockDoubted(doubted) => {
            format!("{}: {}", doubted.machine, doubted.wrong.in_words())
        }
        Event::DecisionDoubted(doubted) => doubted.to_string(),
        Event::StorageBreached { rack, slot, .. } => {
            format!("{rack}: slot {slot} was filled without permission")
        }
        _ => return None,
    })
}
