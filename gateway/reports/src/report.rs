//! What the ledger adds up to, as tables whose every number says which events it comes from.
//!
//! A [`Review`] hears the events one by one, keeps the domain's own [`State`] beside its sums, and
//! gives tables. It holds one row of sums for each stencil, machine, reason and so on, and one for
//! each order, concession, finding, correction and alarm told; positions only where they are asked
//! for, those of alarms apart. Strokes of a stencil are those from before the gateway, booked, assigned and corrected; their
//! sum is the state's own number.

mod alarms;
mod bases;
mod concessions;
mod condition;
mod corrections;
mod cost;
mod figure;
mod findings;
pub mod form;
mod heard;
mod histories;
mod machines;
mod orders;
mod outlooks;
mod positions;
mod products;
mod refusals;
mod runs;
mod setup;
mod summary;
mod table;
mod unattributed;
mod washes;
mod wear;

use std::collections::BTreeMap;
use std::ops::ControlFlow;

use stencilward_domain::event::Recorded;
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::state::State;
use stencilward_domain::stencil::Stencil;
use stencilward_domain::time::Timestamp;

pub use figure::{Figure, Value};
pub use heard::refers_to;
pub use positions::Positions;
pub use setup::{Filter, NotPickable, NotThere, Period, Setup};
pub use table::{Column, Table, TableName, Unit};

use crate::alarms::Measures;
use crate::forecast::{Day, Forecast};
use alarms::Alarms;
use bases::Bases;
use concessions::Concessions;
use corrections::Corrections;
use findings::Findings;
use heard::Heard;
use histories::{Histories, History};
use machines::Machines;
use refusals::Refusals;
use runs::Runs;
use unattributed::Unattributed;
use washes::Washes;

/// What is asked of a table.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Asked {
    /// Which rows.
    pub filter: Filter,
    /// The instant for which it is made: whether a concession is in force, and a forecast's day.
    pub now: Timestamp,
}

/// Hears the events of a ledger and adds them up.
#[derive(Debug)]
pub struct Review {
    setup: Setup,
    period: Period,
    traced: bool,
    state: State,
    histories: Histories,
    machines: Machines,
    bases: Bases,
    washes: Washes,
    refusals: Refusals,
    concessions: Concessions,
    runs: Runs,
    unattributed: Unattributed,
    findings: Findings,
    corrections: Corrections,
    alarms: Alarms,
}

impl Review {
    /// A review of nothing yet. `traced`: every number keeps the events it comes from.
    #[must_use]
    pub fn new(setup: Setup, period: Period, traced: bool) -> Self {
        Self {
            setup,
            period,
            traced,
            state: State::default(),
            histories: Histories::new(period.limits_flows()),
            machines: Machines::default(),
            bases: Bases::default(),
            washes: Washes::default(),
            refusals: Refusals::default(),
            concessions: Concessions::default(),
            runs: Runs::default(),
            unattributed: Unattributed::default(),
            findings: Findings::default(),
            corrections: Corrections::default(),
            alarms: Alarms::default(),
        }
    }

    /// Takes in the next event of the ledger, with the event that [`refers_to`] names. Breaks,
    /// without taking it in, at the first event later than the period's `at`.
    pub fn listen(&mut self, recorded: &Recorded, original: Option<&Recorded>) -> ControlFlow<()> {
        if self.period.at.is_some_and(|at| recorded.fact.at > at) {
            return ControlFlow::Break(());
        }
        let time =
            recorded.fact.happened.unwrap_or_else(|| self.state.latest.max(recorded.fact.at));
        let heard = Heard {
            recorded,
            original,
            before: &self.state,
            time,
            within: self.period.holds(time),
            mark: self.traced.then_some(recorded.position),
        };
        self.runs.hear(&heard, &self.histories);
        self.histories.hear(&heard);
        self.machines.hear(&heard);
        self.bases.hear(&heard);
        self.washes.hear(&heard);
        self.refusals.hear(&heard);
        self.concessions.hear(&heard);
        self.unattributed.hear(&heard);
        self.findings.hear(&heard);
        self.corrections.hear(&heard);
        self.alarms.hear(&heard);
        self.state.apply(recorded);
        ControlFlow::Continue(())
    }

    /// The state that the events heard so far give.
    #[must_use]
    pub fn state(&self) -> &State {
        &self.state
    }

    /// What the configuration says.
    #[must_use]
    pub fn setup(&self) -> &Setup {
        &self.setup
    }

    /// Which part of the ledger counts.
    #[must_use]
    pub fn period(&self) -> Period {
        self.period
    }

    /// A table of what was heard so far.
    #[must_use]
    pub fn table(&self, name: TableName, asked: &Asked) -> Table {
        match name {
            TableName::Wear => wear::table(self, asked),
            TableName::Products => products::table(self, asked),
            TableName::Lines => self.machines.table(self, asked),
            TableName::Bases => self.bases.table(self, asked),
            TableName::Washes => self.washes.table(self, asked),
            TableName::Refusals => self.refusals.table(self, asked),
            TableName::Concessions => self.concessions.table(self, asked),
            TableName::Cost => cost::table(self, asked),
            TableName::Orders => self.runs.table(self, asked),
            TableName::Unattributed => self.unattributed.table(self, asked),
            TableName::Findings => self.findings.table(self, asked),
            TableName::Corrections => self.corrections.table(self, asked),
            TableName::Alarms => self.alarms.table(self, asked),
            TableName::Forecast => outlooks::table(self, asked),
        }
    }

    /// What is to come for each stencil that is not retired.
    #[must_use]
    pub fn forecasts(&self, asked: &Asked) -> BTreeMap<StencilCode, Forecast> {
        outlooks::all(self, asked)
    }

    /// How well the alarms told since then serve those who see to them.
    #[must_use]
    pub fn alarms_since(&self, from: Timestamp, now: Timestamp) -> Measures {
        self.alarms.since(from, now, self.setup.plant.policy.alarms.operators)
    }

    /// Strokes of each stencil by the day on which they were made (UTC), as corrected.
    pub fn daily_strokes(&self) -> impl Iterator<Item = (&StencilCode, &BTreeMap<Day, i64>)> {
        let known = self.state.stencils.keys();
        known.filter_map(|code| Some((code, &self.histories.of(code)?.daily_strokes)))
    }

    /// What a manager looks at first: wear by band, what needs action now, what stops next.
    #[must_use]
    pub fn summary(&self, asked: &Asked) -> Vec<Table> {
        summary::tables(self, asked)
    }

    /// The stencils asked for, each with its state and its history.
    fn stencils<'a>(
        &'a self,
        asked: &'a Asked,
    ) -> impl Iterator<Item = (&'a StencilCode, &'a Stencil, &'a History)> {
        let known = self.state.stencils.iter();
        known
            .filter(|(code, _)| self.picks_stencil(asked, Some(code)))
            .filter_map(|(code, stencil)| Some((code, stencil, self.histories.of(code)?)))
    }

    fn picks_stencil(&self, asked: &Asked, code: Option<&StencilCode>) -> bool {
        let (wanted, product) = (&asked.filter.stencil, &asked.filter.product);
        let of = || self.state.stencils.get(code?)?.spec.product.as_ref();
        (wanted.is_none() || wanted.as_ref() == code)
            && (product.is_none() || *product == of().cloned())
    }

    /// True when any of several stencils is asked for, or none in particular.
    fn picks_any(&self, asked: &Asked, codes: &[StencilCode]) -> bool {
        !asked.filter.by_stencil() || codes.iter().any(|code| self.picks_stencil(asked, Some(code)))
    }

    fn picks_machine(&self, asked: &Asked, machine: Option<&MachineName>) -> bool {
        let wanted = asked.filter.line.as_deref();
        wanted.is_none() || wanted == machine.and_then(|machine| self.setup.line(machine))
    }
}
