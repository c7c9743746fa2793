//! The metric families: names and units by Prometheus' conventions, help texts for people.

use prometheus::{
    Gauge, GaugeVec, Histogram, HistogramOpts, IntCounter, IntCounterVec, IntGauge, IntGaugeVec,
    Opts, Registry,
};
use stencilward_domain::alarm::{AlarmKind, AlarmState, Priority};
use stencilward_domain::names::{MachineName, OutputName, StencilCode};
use stencilward_domain::stencil::Cleanliness;
use stencilward_domain::wear::WearBand;

pub(super) struct Families {
    pub(super) build_info: IntGaugeVec,
    pub(super) stencil_strokes: IntCounterVec,
    pub(super) stencil_life_ratio: GaugeVec,
    pub(super) stencil_cleanliness: IntGaugeVec,
    pub(super) stencil_wear_band: IntGaugeVec,
    pub(super) washes: IntCounterVec,
    pub(super) unmatched_washes: IntCounterVec,
    pub(super) decisions: IntCounterVec,
    pub(super) storage_breaches: IntCounterVec,
    pub(super) dry_outs: IntCounter,
    pub(super) unattributed_strokes: IntGaugeVec,
    pub(super) assigned_strokes: IntCounter,
    pub(super) written_off_strokes: IntCounter,
    pub(super) stroke_corrections: IntCounter,
    pub(super) basis_disagreements: IntCounterVec,
    pub(super) understencil_wipes: IntCounterVec,
    pub(super) counter_findings: IntCounterVec,
    pub(super) clock_findings: IntCounterVec,
    pub(super) doubted_decisions: IntCounterVec,
    pub(super) messages_missed: IntCounterVec,
    pub(super) machine_up: IntGaugeVec,
    pub(super) rounds: IntCounterVec,
    pub(super) round_seconds: Histogram,
    pub(super) link_troubles: IntCounterVec,
    pub(super) output_wanted: IntGaugeVec,
    pub(super) output_shown: IntGaugeVec,
    pub(super) ledger_events: IntCounter,
    pub(super) ledger_failures: IntCounter,
    pub(super) ledger_write_seconds: Histogram,
    pub(super) signal_durable_seconds: Histogram,
    pub(super) intake_waiting: IntGauge,
    pub(super) alarms: IntGaugeVec,
    pub(super) alarms_raised: IntCounterVec,
}

/// The series of one stencil.
pub(super) struct StencilSeries {
    pub(super) strokes: IntCounter,
    pub(super) life_ratio: Gauge,
    pub(super) cleanliness: [IntGauge; 4],
    pub(super) wear_band: [IntGauge; 3],
}

/// From a quarter of a millisecond to sixteen seconds, by fours.
const SECONDS: [f64; 9] = [0.000_25, 0.001, 0.004, 0.016, 0.064, 0.25, 1.0, 4.0, 16.0];

struct Maker<'a>(&'a Registry);

impl Maker<'_> {
    fn keep<C: prometheus::core::Collector + Clone + 'static>(
        &self,
        made: prometheus::Result<C>,
    ) -> prometheus::Result<C> {
        let made = made?;
        self.0.register(Box::new(made.clone()))?;
        Ok(made)
    }

    fn counters(
        &self,
        name: &str,
        help: &str,
        labels: &[&str],
    ) -> prometheus::Result<IntCounterVec> {
        self.keep(IntCounterVec::new(Opts::new(name, help).namespace("stencilward"), labels))
    }

    fn counter(&self, name: &str, help: &str) -> prometheus::Result<IntCounter> {
        self.keep(IntCounter::with_opts(Opts::new(name, help).namespace("stencilward")))
    }

    fn gauges(&self, name: &str, help: &str, labels: &[&str]) -> prometheus::Result<IntGaugeVec> {
        self.keep(IntGaugeVec::new(Opts::new(name, help).namespace("stencilward"), labels))
    }

    fn seconds(&self, name: &str, help: &str) -> prometheus::Result<Histogram> {
        let options = HistogramOpts::new(name, help).namespace("stencilward");
        self.keep(Histogram::with_opts(options.buckets(SECONDS.to_vec())))
    }
}

impl Families {
    #[expect(clippy::too_many_lines, reason = "one table: a line or two for each family")]
    pub(super) fn register(registry: &Registry) -> prometheus::Result<Self> {
        let make = Maker(registry);
        let ratio = Opts::new(
            "stencil_life_ratio",
            "Used share of a stencil's rated life: 0 is new, 1 is its end",
        )
        .namespace("stencilward");
        Ok(Self {
            build_info: make.gauges("build_info", "The gateway's version", &["version"])?,
            stencil_strokes: make.counters(
                "stencil_strokes_total",
                "Squeegee strokes booked to a stencil in its whole life",
                &["stencil"],
            )?,
            stencil_life_ratio: make.keep(GaugeVec::new(ratio, &["stencil"]))?,
            stencil_cleanliness: make.gauges(
                "stencil_cleanliness",
                "1 for the state of cleanliness a stencil is in, 0 for the others",
                &["stencil", "cleanliness"],
            )?,
            stencil_wear_band: make.gauges(
                "stencil_wear_band",
                "1 for the wear band a stencil is in, 0 for the others",
                &["stencil", "band"],
            )?,
            washes: make.counters(
                "washes_total",
                "Washes that ended, by washer and outcome",
                &["machine", "outcome"],
            )?,
            unmatched_washes: make.counters(
                "unmatched_washes_total",
                "Washes reported for no stencil that could have been in the washer",
                &["machine"],
            )?,
            decisions: make.counters(
                "decisions_total",
                "Answers to: may it be stored, taken, printed with; a refusal counts once for \
                 each of its reasons",
                &["rule", "outcome", "reason"],
            )?,
            storage_breaches: make.counters(
                "storage_breaches_total",
                "Stencils that went into a slot without a permitted store",
                &["machine"],
            )?,
            dry_outs: make.counter(
                "dry_outs_total",
                "Printed stencils that were not washed within the allowed time",
            )?,
            unattributed_strokes: make.gauges(
                "unattributed_strokes",
                "Strokes a machine made that nobody could attribute to a stencil yet",
                &["machine"],
            )?,
            assigned_strokes: make.counter(
                "assigned_strokes_total",
                "Strokes nobody could attribute that people assigned to a stencil later",
            )?,
            written_off_strokes: make.counter(
                "written_off_strokes_total",
                "Strokes nobody could attribute that people said were no stencil's",
            )?,
            stroke_corrections: make.counter(
                "stroke_corrections_total",
                "Corrections of a stencil's booked strokes by people",
            )?,
            basis_disagreements: make.counters(
                "basis_disagreements_total",
                "Runs of which two bases of counting lie too far apart, by the basis that was \
                 compared and the likely cause",
                &["machine", "basis", "cause"],
            )?,
            understencil_wipes: make.counters(
                "understencil_wipes_total",
                "Understencil wipes a printer told of",
                &["machine"],
            )?,
            counter_findings: make.counters(
                "counter_findings_total",
                "Jumps of a stroke counter that the machine cannot have made",
                &["machine"],
            )?,
            clock_findings: make.counters(
                "clock_findings_total",
                "Times that a machine told and that cannot be",
                &["machine"],
            )?,
            doubted_decisions: make.counters(
                "doubted_decisions_total",
                "Permitted decisions that a late message would have refused",
                &["rule"],
            )?,
            messages_missed: make.counters(
                "messages_missed_total",
                "Messages that never arrived, told by the numbers of those that did",
                &["machine"],
            )?,
            machine_up: make.gauges(
                "machine_up",
                "1 while the link to a machine works, else 0",
                &["machine"],
            )?,
            rounds: make.counters(
                "link_rounds_total",
                "Rounds of reads and messages dealt with",
                &["machine"],
            )?,
            round_seconds: make.seconds(
                "link_round_duration_seconds",
                "Time one round of reads or one message took",
            )?,
            link_troubles: make.counters(
                "link_troubles_total",
                "What went wrong on the link to a machine, by kind",
                &["machine", "kind"],
            )?,
            output_wanted: make.gauges(
                "output_wanted",
                "1 while an interlock output shall permit, 0 while it shall refuse",
                &["machine", "output"],
            )?,
            output_shown: make.gauges(
                "output_shown",
                "1 while a machine shows that an interlock output permits, else 0",
                &["machine", "output"],
            )?,
            ledger_events: make.counter("ledger_events_total", "Events made durable")?,
            ledger_failures: make.counter("ledger_failures_total", "Writes the ledger refused")?,
            ledger_write_seconds: make
                .seconds("ledger_write_duration_seconds", "Time a durable write took")?,
            signal_durable_seconds: make.seconds(
                "signal_durable_duration_seconds",
                "Time from receiving a signal until all that follows from it was durable",
            )?,
            intake_waiting: make.keep(IntGauge::with_opts(
                Opts::new("intake_waiting", "Deliveries that wait for the site task")
                    .namespace("stencilward"),
            ))?,
            alarms: make.gauges(
                "alarms",
                "Alarms that stand, by state and priority",
                &["state", "priority"],
            )?,
            alarms_raised: make.counters(
                "alarms_raised_total",
                "Alarms told to people, by kind and the priority they were told with",
                &["kind", "priority"],
            )?,
        })
    }

    /// The alarms that may stand: every state but normal, with every priority.
    pub(super) fn alarm_states() -> impl Iterator<Item = (AlarmState, Priority)> {
        let states = AlarmState::ALL.into_iter().filter(|state| *state != AlarmState::Normal);
        states.flat_map(|state| Priority::ALL.map(|priority| (state, priority)))
    }

    /// Counts an alarm that was told.
    pub(super) fn alarm_raised(&self, kind: AlarmKind, priority: Priority) {
        self.alarms_raised.with_label_values(&[kind.as_str(), priority.as_str()]).inc();
    }

    pub(super) fn stencil_series(&self, code: &StencilCode) -> StencilSeries {
        let code = code.as_str();
        StencilSeries {
            strokes: self.stencil_strokes.with_label_values(&[code]),
            life_ratio: self.stencil_life_ratio.with_label_values(&[code]),
            cleanliness: Cleanliness::ALL
                .map(|value| self.stencil_cleanliness.with_label_values(&[code, value.as_str()])),
            wear_band: WearBand::ALL
                .map(|band| self.stencil_wear_band.with_label_values(&[code, band.as_str()])),
        }
    }

    /// Takes away the series that tell how a machine is. What it did stays counted.
    pub(super) fn forget_machine(&self, machine: &MachineName) {
        let machine = machine.as_str();
        let _ = self.machine_up.remove_label_values(&[machine]);
        let _ = self.unattributed_strokes.remove_label_values(&[machine]);
    }

    /// Takes away what is shown of an output.
    pub(super) fn forget_output(&self, machine: &MachineName, output: &OutputName) {
        let labels = [machine.as_str(), output.as_str()];
        let _ = self.output_wanted.remove_label_values(&labels);
        let _ = self.output_shown.remove_label_values(&labels);
    }

    /// Takes a stencil's series away. A series that never was is no fault.
    pub(super) fn forget_stencil(&self, code: &StencilCode) {
        let code = code.as_str();
        let _ = self.stencil_strokes.remove_label_values(&[code]);
        let _ = self.stencil_life_ratio.remove_label_values(&[code]);
        for value in Cleanliness::ALL {
            let _ = self.stencil_cleanliness.remove_label_values(&[code, value.as_str()]);
        }
        for band in WearBand::ALL {
            let _ = self.stencil_wear_band.remove_label_values(&[code, band.as_str()]);
        }
    }
}
