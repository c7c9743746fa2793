//! What Prometheus reads: families, their help texts, and how events move them.

mod families;
mod follower;
mod instant;
mod interlocks;
mod lifetime;
mod maker;
mod outlook;
mod page;
mod series;

use std::time::{Duration, SystemTime};

use prometheus::{Registry, TextEncoder};
use stencilward_adapters::link::{Observer, Trouble};
use stencilward_domain::alarm::{ActiveAlarm, AlarmKind};
use stencilward_domain::names::{MachineName, OutputName};
use stencilward_domain::outputs::Wanted;
use stencilward_ledger::Part;

use crate::bursts::Bursts;
use families::Families;
pub(crate) use follower::{Follower, stencils_in};
pub(crate) use instant::Look;
use interlocks::Interlocks;
pub(crate) use lifetime::Count;
pub(crate) use outlook::keep_outlook;
pub(crate) use page::page;

/// All metrics of one gateway.
pub(crate) struct Metrics {
    registry: Registry,
    families: Families,
    bursts: Bursts,
    interlocks: Interlocks,
}

impl Metrics {
    /// Fresh metrics in a registry of their own.
    ///
    /// # Errors
    /// When a family cannot be registered, which is a fault of this program.
    pub(crate) fn new() -> Result<Self, prometheus::Error> {
        let registry = Registry::new();
        let (families, _) = Families::register(&registry)?;
        families.build_info.with_label_values(&[env!("CARGO_PKG_VERSION")]).set(1);
        families.process_start.set(instant::seconds(SystemTime::now()));
        for kind in AlarmKind::ALL {
            families.active_alarms.with_label_values(&[kind.as_str()]);
        }
        let (bursts, interlocks) = (Bursts::default(), Interlocks::default());
        Ok(Self { registry, families, bursts, interlocks })
    }

    /// Everything as it is now. Reads files and may take a while: not for an async task.
    #[must_use]
    pub(crate) fn scrape(&self, look: &Look) -> String {
        look.show(&self.families);
        self.text()
    }

    /// Everything in Prometheus' text format 0.0.4.
    #[must_use]
    pub(crate) fn text(&self) -> String {
        let mut text = String::new();
        if let Err(error) = TextEncoder::new().encode_utf8(&self.registry.gather(), &mut text) {
            tracing::error!(%error, "the metrics cannot be encoded");
        }
        text
    }

    /// What is wanted of outputs changed, because of something received so long ago.
    pub(crate) fn wanted_changed(&self, before: &Wanted, after: &Wanted, since: Duration) {
        self.interlocks.changed(before, after, since);
    }

    /// The archive has these parts.
    pub(crate) fn ledger_archive(&self, parts: &[Part]) {
        let sum = |of: fn(&Part) -> u64| i64::try_from(parts.iter().map(of).sum::<u64>());
        self.families.ledger_archived.set(sum(Part::events).unwrap_or(i64::MAX));
        self.families.ledger_archive_size.set(sum(|part| part.size).unwrap_or(i64::MAX));
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
        for kind in AlarmKind::ALL {
            let wrong =
                |alarm: &&ActiveAlarm| alarm.code == kind.as_str() && alarm.state.is_active();
            let count = i64::try_from(standing.iter().filter(wrong).count()).unwrap_or(i64::MAX);
            self.families.active_alarms.with_label_values(&[kind.as_str()]).set(count);
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
        if shown == Some(wanted)
            && let Some(took) = self.interlocks.shown(machine, output, wanted)
        {
            self.families.interlock_seconds.observe(took.as_secs_f64());
        }
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
