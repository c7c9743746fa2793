//! What Prometheus reads: families, their help texts, and how events move them.

mod families;

use std::collections::{BTreeMap, BTreeSet, HashMap};
use std::sync::Arc;
use std::time::Duration;

use prometheus::{Encoder, IntCounter, Registry, TextEncoder};
use stencilward_adapters::link::{Observer, Trouble};
use stencilward_domain::alarm::ActiveAlarm;
use stencilward_domain::decision::{Decision, Rule};
use stencilward_domain::event::{AlarmEvent, Event};
use stencilward_domain::machine::{LinkState, Machine};
use stencilward_domain::names::{MachineName, OutputName, StencilCode};
use stencilward_domain::site::Site;
use stencilward_domain::state::stencil_of;
use stencilward_domain::stencil::{Cleanliness, Stencil};
use stencilward_domain::wear::WearBand;

use crate::bursts::Bursts;
use families::{Families, StencilSeries};

/// All metrics of one gateway.
pub(crate) struct Metrics {
    registry: Registry,
    families: Families,
    bursts: Bursts,
}

/// The part of the metrics that the site task moves: it caches what it moves often.
pub(crate) struct Follower {
    metrics: Arc<Metrics>,
    stencils: HashMap<StencilCode, StencilSeries>,
    /// The machines that have series, and their outputs that have.
    machines: BTreeMap<MachineName, BTreeSet<OutputName>>,
    decided: HashMap<(Rule, bool, &'static str), IntCounter>,
}

impl Metrics {
    /// Fresh metrics in a registry of their own.
    ///
    /// # Errors
    /// When a family cannot be registered, which is a fault of this program.
    pub(crate) fn new() -> Result<Self, prometheus::Error> {
        let registry = Registry::new();
        let families = Families::register(&registry)?;
        families.build_info.with_label_values(&[env!("CARGO_PKG_VERSION")]).set(1);
        Ok(Self { registry, families, bursts: Bursts::default() })
    }

    /// Everything in Prometheus' text format 0.0.4.
    #[must_use]
    pub(crate) fn text(&self) -> String {
        let mut buffer = Vec::new();
        if let Err(error) = TextEncoder::new().encode(&self.registry.gather(), &mut buffer) {
            tracing::error!(%error, "the metrics cannot be encoded");
        }
        String::from_utf8_lossy(&buffer).into_owned()
    }

    /// A durable write took this long and carried so many events.
    pub(crate) fn ledger_wrote(&self, took: Duration, events: usize) {
        self.families.ledger_write_seconds.observe(took.as_secs_f64());
        self.families.ledger_events.inc_by(events as u64);
    }

    /// A write failed.
    pub(crate) fn ledger_failed(&self) {
        self.families.ledger_failures.inc();
    }

    /// From the moment a signal was received until everything that follows from it was durable.
    pub(crate) fn signal_durable(&self, took: Duration) {
        self.families.signal_durable_seconds.observe(took.as_secs_f64());
    }

    /// The alarms that stand.
    pub(crate) fn alarms_stand(&self, standing: &[ActiveAlarm]) {
        for (state, priority) in Families::alarm_states() {
            let like = |alarm: &&ActiveAlarm| (alarm.state, alarm.priority) == (state, priority);
            let count = i64::try_from(standing.iter().filter(like).count()).unwrap_or(i64::MAX);
            let labels = [state.as_str(), priority.as_str()];
            self.families.alarms.with_label_values(&labels).set(count);
        }
    }

    /// Deliveries that wait for the site task.
    #[allow(clippy::cast_possible_wrap)]
    pub(crate) fn intake_waiting(&self, waiting: usize) {
        self.families.intake_waiting.set(waiting as i64);
    }
}

impl Observer for Metrics {
    fn trouble(&self, machine: &MachineName, kind: Trouble, detail: &str) {
        self.families.link_troubles.with_label_values(&[machine.as_str(), kind.as_str()]).inc();
        self.bursts.log(machine, kind, detail);
    }

    fn round(&self, machine: &MachineName, took: Duration) {
        self.families.round_seconds.observe(took.as_secs_f64());
        self.families.rounds.with_label_values(&[machine.as_str()]).inc();
    }

    fn output(
        &self,
        machine: &MachineName,
        output: &OutputName,
        wanted: bool,
        shown: Option<bool>,
    ) {
        let labels = [machine.as_str(), output.as_str()];
        self.families.output_wanted.with_label_values(&labels).set(i64::from(wanted));
        match shown {
            Some(shown) => {
                self.families.output_shown.with_label_values(&labels).set(i64::from(shown));
            }
            // What is not known has no series: an old value would look like the present one.
            None => {
                let _ = self.families.output_shown.remove_label_values(&labels);
            }
        }
    }
}

impl Follower {
    /// A follower that has heard of nothing yet.
    pub(crate) fn new(metrics: Arc<Metrics>) -> Self {
        let (stencils, machines, decided) = (HashMap::new(), BTreeMap::new(), HashMap::new());
        let mut follower = Self { metrics, stencils, machines, decided };
        for rule in Rule::ALL {
            follower.decision_counter(rule, true, "none");
        }
        follower
    }

    /// Shows the whole state, as it is after the replay: what is known in advance has a series
    /// from the start, and lifetime counts do not fall when the gateway restarts.
    pub(crate) fn show_all(&mut self, site: &Site) {
        self.show_plant(site);
        for code in site.state().stencils.keys() {
            self.show_stencil(code, site);
        }
    }

    /// Shows the machines of the plant. The series of what is no longer in it leave.
    pub(crate) fn show_plant(&mut self, site: &Site) {
        let families = &self.metrics.families;
        let mut machines = BTreeMap::new();
        for (name, spec) in &site.plant().machines {
            self.show_machine(name, site.state().machines.get(name));
            for kind in Trouble::ALL {
                families.link_troubles.with_label_values(&[name.as_str(), kind.as_str()]);
            }
            for output in spec.outputs.keys() {
                families.output_wanted.with_label_values(&[name.as_str(), output.as_str()]);
            }
            machines.insert(name.clone(), spec.outputs.keys().cloned().collect());
        }
        for (name, outputs) in std::mem::replace(&mut self.machines, machines) {
            let still = self.machines.get(&name);
            if still.is_none() {
                families.forget_machine(&name);
            }
            for output in outputs.iter().filter(|o| still.is_none_or(|still| !still.contains(*o))) {
                families.forget_output(&name, output);
            }
        }
    }

    /// Moves what the events moved.
    pub(crate) fn follow<'e>(
        &mut self,
        events: impl Iterator<Item = &'e Event> + Clone,
        site: &Site,
    ) {
        for event in events.clone() {
            self.count(event);
        }
        for code in events.flat_map(stencils_in).collect::<BTreeSet<_>>() {
            self.show_stencil(code, site);
        }
        for (name, machine) in &site.state().machines {
            if site.plant().machines.contains_key(name) {
                self.show_machine(name, Some(machine));
            }
        }
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
                families.counter_findings.with_label_values(&[machine.as_str()]).inc();
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

    fn count_strokes(&self, event: &Event) {
        let families = &self.metrics.families;
        match event {
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

    fn show_stencil(&mut self, code: &StencilCode, site: &Site) {
        let Some(stencil) = site.state().stencils.get(code) else {
            return;
        };
        let families = &self.metrics.families;
        if stencil.retired.is_some() {
            families.forget_stencil(code);
            self.stencils.remove(code);
            return;
        }
        self.stencils
            .entry(code.clone())
            .or_insert_with(|| families.stencil_series(code))
            .show(stencil);
    }

    #[allow(clippy::cast_possible_wrap)]
    fn show_machine(&self, name: &MachineName, machine: Option<&Machine>) {
        let families = &self.metrics.families;
        let up = machine.is_some_and(|machine| machine.link == LinkState::Up);
        families.machine_up.with_label_values(&[name.as_str()]).set(i64::from(up));
        let unattributed = machine.map_or(0, |machine| machine.unattributed);
        families.unattributed_strokes.with_label_values(&[name.as_str()]).set(unattributed as i64);
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

impl StencilSeries {
    fn show(&self, stencil: &Stencil) {
        // A corrected count may fall; a counter may not: it then waits until it is passed again.
        self.strokes.inc_by(stencil.strokes.saturating_sub(self.strokes.get()));
        self.life_ratio.set(stencil.life_ratio());
        for (cleanliness, gauge) in Cleanliness::ALL.iter().zip(&self.cleanliness) {
            gauge.set(i64::from(stencil.cleanliness.value == *cleanliness));
        }
        for (band, gauge) in WearBand::ALL.iter().zip(&self.wear_band) {
            gauge.set(i64::from(stencil.band.value == *band));
        }
    }
}
