//! The part of the metrics that follows the site: events counted, state shown.

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;

use prometheus::IntCounter;
use stencilward_adapters::link::Trouble;
use stencilward_domain::alarm::{AlarmKind, Priority};
use stencilward_domain::decision::{Decision, Rule};
use stencilward_domain::event::{AlarmEvent, Event};
use stencilward_domain::names::{MachineName, StencilCode};
use stencilward_domain::plant::{MachineKind, MachineSpec};
use stencilward_domain::signal::WashOutcome;
use stencilward_domain::site::Site;
use stencilward_domain::state::stencil_of;
use stencilward_domain::time::Timestamp;

use super::Metrics;
use super::lifetime::{self, Count};
use super::series::{Instants, MachineSeries, StencilSeries, forget_output};

/// The part of the metrics that the site task moves: it caches what it moves often.
pub(crate) struct Follower {
    metrics: Arc<Metrics>,
    stencils: HashMap<StencilCode, StencilSeries>,
    machines: BTreeMap<MachineName, MachineSeries>,
    strokes: HashMap<MachineName, IntCounter>,
    /// Most stencils that have series of their own.
    most: usize,
    decided: HashMap<(Rule, bool, &'static str), IntCounter>,
}

impl Follower {
    /// A follower that has heard of nothing yet.
    ///
    /// `most`: stencils that have series of their own.
    pub(crate) fn new(metrics: Arc<Metrics>, most: usize) -> Self {
        let (stencils, machines) = (HashMap::new(), BTreeMap::new());
        let (decided, strokes) = (HashMap::new(), HashMap::new());
        let mut follower = Self { metrics, stencils, machines, decided, strokes, most };
        for (kind, priority) in AlarmKind::ALL.iter().flat_map(|k| Priority::ALL.map(|p| (k, p))) {
            let labels = [kind.as_str(), priority.as_str()];
            follower.metrics.families.alarms_raised.with_label_values(&labels);
        }
        for rule in Rule::ALL {
            follower.decision_counter(rule, true, "none");
        }
        follower
    }

    /// What was counted of all events until now.
    pub(crate) fn counts(&self) -> Vec<Count> {
        lifetime::counts(&self.metrics.families)
    }

    /// Counts on from what was counted of the events before.
    ///
    /// # Errors
    /// When it was counted by other labels.
    pub(crate) fn recall(&mut self, counts: &[Count]) -> prometheus::Result<()> {
        lifetime::recall(&self.metrics.families, counts)
    }

    /// Shows the whole state, as it is after the replay: what is known in advance has a series
    /// from the start, and lifetime counts do not fall when the gateway restarts.
    pub(crate) fn show_all(&mut self, site: &Site, now: Timestamp) {
        self.show_plant(site);
        for code in site.state().stencils.keys() {
            self.show_stencil(code, site, now);
        }
        self.show_count(site);
    }

    /// Shows the machines of the plant. The series of what is no longer in it leave.
    fn show_plant(&mut self, site: &Site) {
        let families = &self.metrics.families;
        let mut before = std::mem::take(&mut self.machines);
        for (name, spec) in &site.plant().machines {
            let series = MachineSeries::of(families, name, spec.outputs.keys().cloned());
            if let Some(before) = before.remove(name) {
                for output in before.outputs.difference(&series.outputs) {
                    forget_output(families, name, output);
                }
            }
            self.machines.insert(name.clone(), series);
            self.begin_at_zero(name, spec);
        }
        for (name, gone) in before {
            gone.forget(families, &name);
        }
        self.show_machines(site);
    }

    /// What can be known in advance of a machine has its series before the first time, so that
    /// the first time is an increase.
    fn begin_at_zero(&self, name: &MachineName, spec: &MachineSpec) {
        let (families, machine) = (&self.metrics.families, name.as_str());
        for kind in Trouble::ALL {
            families.link_troubles.with_label_values(&[machine, kind.as_str()]);
        }
        for output in spec.outputs.keys() {
            families.output_wanted.with_label_values(&[machine, output.as_str()]);
        }
        for family in [&families.clock_findings, &families.messages_missed] {
            family.with_label_values(&[machine]);
        }
        match spec.kind {
            MachineKind::Printer => {
                let own = [&families.strokes, &families.stroke_jumps, &families.understencil_wipes];
                for family in own {
                    family.with_label_values(&[machine]);
                }
            }
            MachineKind::Washer => {
                families.unmatched_washes.with_label_values(&[machine]);
                for outcome in [WashOutcome::Passed, WashOutcome::Failed, WashOutcome::Aborted] {
                    families.washes.with_label_values(&[machine, outcome.as_str()]);
                }
            }
            MachineKind::Rack => drop(families.storage_breaches.with_label_values(&[machine])),
            MachineKind::Other => {}
        }
    }

    fn show_machines(&self, site: &Site) {
        let state = site.state();
        for (name, series) in &self.machines {
            let in_maintenance = state.alarms.maintenance.contains_key(name);
            series.show(state.machines.get(name), in_maintenance);
        }
    }

    /// Moves what the events moved.
    pub(crate) fn follow<'e>(
        &mut self,
        events: impl Iterator<Item = &'e Event> + Clone,
        site: &Site,
        now: Timestamp,
    ) {
        let mut come_or_gone = false;
        for event in events.clone() {
            come_or_gone |=
                matches!(event, Event::StencilRegistered { .. } | Event::Retired { .. });
            self.count(event);
        }
        for code in events.flat_map(stencils_in).collect::<BTreeSet<_>>() {
            self.show_stencil(code, site, now);
        }
        if come_or_gone {
            self.show_count(site);
        }
        self.show_machines(site);
    }

    /// Counts an event, new or replayed.
    pub(crate) fn count(&mut self, event: &Event) {
        let families = &self.metrics.families;
        match event {
            Event::Decided { decision, .. } => self.count_decision(decision),
            Event::WashEnded { machine, outcome, .. } => {
                let washer = machine.as_ref().map_or("by-hand", MachineName::as_str);
                families.washes.with_label_values(&[washer, outcome.as_str()]).inc();
            }
            Event::StorageBreached { rack, .. } => {
                families.storage_breaches.with_label_values(&[rack.as_str()]).inc();
            }
            Event::CounterDoubted { machine, .. } => {
                families.stroke_jumps.with_label_values(&[machine.as_str()]).inc();
            }
            Event::WashUnmatched(unmatched) => {
                families.unmatched_washes.with_label_values(&[unmatched.machine.as_str()]).inc();
            }
            Event::ClockDoubted(doubted) => {
                families.clock_findings.with_label_values(&[doubted.machine.as_str()]).inc();
            }
            Event::DecisionDoubted(doubted) => {
                families.doubted_decisions.with_label_values(&[doubted.rule.as_str()]).inc();
            }
            Event::Alarm(AlarmEvent::Moved(moved)) => {
                if let Some(raised) = &moved.raised {
                    families.alarm_raised(moved.id.kind, raised.priority);
                }
            }
            Event::DriedOut { .. } => families.dry_outs.inc(),
            Event::MessageNumbered(numbered) => {
                let machine = numbered.machine.as_str();
                families.messages_missed.with_label_values(&[machine]).inc_by(numbered.missed);
            }
            _ => self.count_strokes(event),
        }
    }

    fn count_strokes(&mut self, event: &Event) {
        let families = &self.metrics.families;
        match event {
            Event::StrokesBooked { machine, count, .. } => {
                let new = || families.strokes.with_label_values(&[machine.as_str()]);
                self.strokes.entry(machine.clone()).or_insert_with(new).inc_by(*count);
            }
            Event::StrokesAssigned { count, .. } => families.assigned_strokes.inc_by(*count),
            Event::StrokesWrittenOff { count, .. } => families.written_off_strokes.inc_by(*count),
            Event::StrokesCorrected { .. } => families.stroke_corrections.inc(),
            Event::WipesCounted { machine, count, .. } => {
                families.understencil_wipes.with_label_values(&[machine.as_str()]).inc_by(*count);
            }
            Event::BasesDisagreed { machine, checked_by, likely, .. } => {
                let labels = [machine.as_str(), checked_by.as_str(), likely.as_str()];
                families.basis_disagreements.with_label_values(&labels).inc();
            }
            _ => {}
        }
    }

    fn count_decision(&mut self, decision: &Decision) {
        if decision.permitted() {
            self.decision_counter(decision.rule, true, "none").inc();
        }
        for cause in &decision.reasons {
            self.decision_counter(decision.rule, false, cause.reason.code()).inc();
        }
    }

    fn decision_counter(
        &mut self,
        rule: Rule,
        permitted: bool,
        reason: &'static str,
    ) -> &IntCounter {
        let decisions = &self.metrics.families.decisions;
        self.decided.entry((rule, permitted, reason)).or_insert_with(|| {
            let outcome = if permitted { "permitted" } else { "refused" };
            decisions.with_label_values(&[rule.as_str(), outcome, reason])
        })
    }

    fn show_stencil(&mut self, code: &StencilCode, site: &Site, now: Timestamp) {
        let Some(stencil) = site.state().stencils.get(code) else {
            return;
        };
        let families = &self.metrics.families;
        if stencil.retired.is_some() {
            self.stencils.remove(code);
            StencilSeries::forget(families, code);
            return;
        }
        if !self.stencils.contains_key(code) {
            if self.stencils.len() >= self.most {
                return;
            }
            self.stencils.insert(code.clone(), StencilSeries::of(families, code));
        }
        let waiting = stencil.waiting_for_wash(now).is_some();
        let dry_out = site.plant().policy.dry_out;
        let last = stencil.last_stroke.as_ref().filter(|_| waiting).map(|stroke| stroke.since);
        let at = Instants { now, wash_due: last.map(|last| last.plus(dry_out)) };
        if let Some(series) = self.stencils.get(code) {
            series.show(stencil, &at, families);
        }
    }

    /// How many there are, and how many of them are beyond the limit.
    #[allow(clippy::cast_possible_wrap)]
    fn show_count(&self, site: &Site) {
        let in_use = site.state().stencils.values().filter(|stencil| stencil.retired.is_none());
        let (count, families) = (in_use.count(), &self.metrics.families);
        families.stencils.set(count as i64);
        families.stencils_without_series.set(count.saturating_sub(self.stencils.len()) as i64);
    }
}

/// The stencils that an event moves.
pub(crate) fn stencils_in(event: &Event) -> impl Iterator<Item = &StencilCode> {
    let candidates = match event {
        Event::StrokesUnattributed { candidates, .. } => candidates.as_slice(),
        _ => &[],
    };
    stencil_of(event).into_iter().chain(candidates)
}
