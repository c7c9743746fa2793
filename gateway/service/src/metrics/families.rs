//! The metric families: names and units by Prometheus' conventions, help texts for people.

use prometheus::{
    Gauge, GaugeVec, Histogram, IntCounter, IntCounterVec, IntGauge, IntGaugeVec, Registry,
};
use stencilward_domain::alarm::{AlarmKind, AlarmState, Priority};

use super::lifetime::Lifetime;
use super::maker::{Described, Maker};

pub(super) struct Families {
    pub(super) time: Gauge,
    pub(super) ready: IntGauge,
    pub(super) process_start: Gauge,
    pub(super) process_memory: Gauge,
    pub(super) process_files: Gauge,
    pub(super) build_info: IntGaugeVec,
    pub(super) stencil_strokes: IntCounterVec,
    pub(super) stencil_life_ratio: GaugeVec,
    pub(super) stencil_rated_strokes: IntGaugeVec,
    pub(super) stencil_strokes_since_wash: IntGaugeVec,
    pub(super) stencil_standing: IntGaugeVec,
    pub(super) stencil_last_wash: GaugeVec,
    pub(super) stencil_wash_due: GaugeVec,
    pub(super) stencil_order_by: GaugeVec,
    pub(super) stencil_end: GaugeVec,
    pub(super) stencils: IntGauge,
    pub(super) stencils_without_series: IntGauge,
    pub(super) strokes: IntCounterVec,
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
    pub(super) stroke_jumps: IntCounterVec,
    pub(super) clock_findings: IntCounterVec,
    pub(super) doubted_decisions: IntCounterVec,
    pub(super) messages_missed: IntCounterVec,
    pub(super) machine_up: IntGaugeVec,
    pub(super) machine_in_maintenance: IntGaugeVec,
    pub(super) rounds: IntCounterVec,
    pub(super) round_seconds: Histogram,
    pub(super) link_troubles: IntCounterVec,
    pub(super) output_wanted: IntGaugeVec,
    pub(super) output_shown: IntGaugeVec,
    pub(super) ledger_events: IntCounter,
    pub(super) ledger_failures: IntCounter,
    pub(super) ledger_write_seconds: Histogram,
    pub(super) signal_durable_seconds: Histogram,
    pub(super) interlock_seconds: Histogram,
    pub(super) ledger_size: IntGauge,
    pub(super) ledger_free: IntGauge,
    pub(super) ledger_archived: IntGauge,
    pub(super) ledger_archive_size: IntGauge,
    pub(super) intake_waiting: IntGauge,
    pub(super) active_alarms: IntGaugeVec,
    pub(super) alarms: IntGaugeVec,
    pub(super) alarms_raised: IntCounterVec,
}

impl Families {
    #[expect(clippy::too_many_lines, reason = "one table: a line or two for each family")]
    pub(super) fn register(registry: &Registry) -> prometheus::Result<(Self, Vec<Described>)> {
        let mut make = Maker::new(registry);
        let families = Self {
            time: make.level("time_seconds", "The gateway's clock, in seconds since 1970")?,
            ready: make.gauge(
                "ready",
                "1 while what the gateway hears becomes durable, else 0",
            )?,
            process_start: make.of_process(
                "process_start_time_seconds",
                "When the gateway started, in seconds since 1970",
            )?,
            process_memory: make.of_process(
                "process_resident_memory_bytes",
                "Memory the gateway takes",
            )?,
            process_files: make.of_process("process_open_fds", "Files and connections it has open")?,
            build_info: make.gauges("build_info", "The gateway's version", &["version"])?,
            stencil_strokes: make.counters(
                "stencil_strokes_total",
                "Squeegee strokes booked to a stencil in its whole life",
                &["stencil"],
            )?,
            stencil_life_ratio: make.levels(
                "stencil_life_ratio",
                "Used share of a stencil's rated life: 0 is new, 1 is its end",
                &["stencil"],
            )?,
            stencil_rated_strokes: make.gauges(
                "stencil_rated_strokes",
                "Strokes a stencil is rated for",
                &["stencil"],
            )?,
            stencil_strokes_since_wash: make.gauges(
                "stencil_strokes_since_wash",
                "Strokes booked to a stencil since the last wash that passed",
                &["stencil"],
            )?,
            stencil_standing: make.gauges(
                "stencil_standing",
                "1 for how a stencil stands: released, on hold, under a concession; 0 for the others",
                &["stencil", "standing"],
            )?,
            stencil_last_wash: make.levels(
                "stencil_last_wash_timestamp_seconds",
                "When a stencil's last wash that passed ended; none while there was none",
                &["stencil"],
            )?,
            stencil_wash_due: make.levels(
                "stencil_wash_due_timestamp_seconds",
                "Until when a printed stencil must be washed before its paste dries; none while it \
                 need not be",
                &["stencil"],
            )?,
            stencil_order_by: make.levels(
                "stencil_order_by_timestamp_seconds",
                "The last day to order a stencil's successor so that it comes in time; none while \
                 its history is too short or its lead time unknown",
                &["stencil"],
            )?,
            stencil_end: make.levels(
                "stencil_end_of_life_timestamp_seconds",
                "The day on which a stencil is expected to reach its end, the middle of the \
                 forecast; none while its history is too short",
                &["stencil"],
            )?,
            stencils: make.gauge("stencils", "Stencils in use: all that are not retired")?,
            stencils_without_series: make.gauge(
                "stencils_without_series",
                "Stencils in use beyond metrics.stencils, which have no series of their own",
            )?,
            strokes: make.counters(
                "machine_strokes_total",
                "Squeegee strokes of a printer that were booked to a stencil",
                &["machine"],
            )?,
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
            stroke_jumps: make.counters(
                "stroke_jumps_total",
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
            machine_in_maintenance: make.gauges(
                "machine_in_maintenance",
                "1 while somebody maintains a machine, else 0",
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
            interlock_seconds: make.seconds(
                "signal_interlock_duration_seconds",
                "Time from receiving a signal until a machine showed the interlock it changed",
            )?,
            ledger_size: make.gauge("ledger_size_bytes", "Size of the ledger's files")?,
            ledger_free: make.gauge("ledger_free_bytes", "Free space on the ledger's disk")?,
            ledger_archived: make
                .gauge("ledger_archived_events", "Events in parts of the ledger's archive")?,
            ledger_archive_size: make
                .gauge("ledger_archive_size_bytes", "Size of the ledger's archive")?,
            intake_waiting: make
                .gauge("intake_waiting", "Deliveries that wait for the site task")?,
            active_alarms: make.gauges(
                "active_alarms",
                "What is wrong at the moment, by kind, whether somebody acknowledged it or not",
                &["kind"],
            )?,
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
        };
        Ok((families, make.described()))
    }

    /// The alarms that may stand: every state but normal, with every priority.
    pub(super) fn alarm_states() -> impl Iterator<Item = (AlarmState, Priority)> {
        let states = AlarmState::ALL.into_iter().filter(|state| *state != AlarmState::Normal);
        states.flat_map(|state| Priority::ALL.map(|priority| (state, priority)))
    }

    /// The counters of what the ledger tells, whole as they are after a replay of all of it.
    pub(super) fn lifetime(&self) -> [Lifetime<'_>; 16] {
        use Lifetime::{Many, One};
        [
            Many(&self.strokes),
            Many(&self.washes),
            Many(&self.unmatched_washes),
            Many(&self.decisions),
            Many(&self.storage_breaches),
            One(&self.dry_outs),
            One(&self.assigned_strokes),
            One(&self.written_off_strokes),
            One(&self.stroke_corrections),
            Many(&self.basis_disagreements),
            Many(&self.understencil_wipes),
            Many(&self.stroke_jumps),
            Many(&self.clock_findings),
            Many(&self.doubted_decisions),
            Many(&self.messages_missed),
            Many(&self.alarms_raised),
        ]
    }

    /// Counts an alarm that was told.
    pub(super) fn alarm_raised(&self, kind: AlarmKind, priority: Priority) {
        self.alarms_raised.with_label_values(&[kind.as_str(), priority.as_str()]).inc();
    }
}
