//! Makes metric families, and keeps what there is to say of each for the page that lists them.

use prometheus::core::Collector;
use prometheus::{
    Gauge, GaugeVec, Histogram, HistogramOpts, IntCounter, IntCounterVec, IntGauge, IntGaugeVec,
    Opts, Registry, Result,
};

/// From a quarter of a millisecond to sixteen seconds, by fours.
const SECONDS: [f64; 9] = [0.000_25, 0.001, 0.004, 0.016, 0.064, 0.25, 1.0, 4.0, 16.0];

/// What there is to say of a family.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Described {
    pub(crate) name: String,
    pub(crate) kind: &'static str,
    pub(crate) labels: Vec<String>,
    pub(crate) help: String,
}

/// Makes families and registers each.
pub(super) struct Maker<'a> {
    registry: &'a Registry,
    described: Vec<Described>,
}

impl<'a> Maker<'a> {
    pub(super) fn new(registry: &'a Registry) -> Self {
        Self { registry, described: Vec::new() }
    }

    /// All that were made, by name.
    pub(super) fn described(mut self) -> Vec<Described> {
        self.described.sort_by(|one, other| one.name.cmp(&other.name));
        self.described
    }

    fn keep<C: Collector + Clone + 'static>(
        &mut self,
        kind: &'static str,
        made: Result<C>,
    ) -> Result<C> {
        let made = made?;
        self.described.extend(made.desc().into_iter().map(|desc| Described {
            name: desc.fq_name.clone(),
            kind,
            labels: desc.variable_labels.clone(),
            help: desc.help.clone(),
        }));
        self.registry.register(Box::new(made.clone()))?;
        Ok(made)
    }

    pub(super) fn counters(
        &mut self,
        name: &str,
        help: &str,
        labels: &[&str],
    ) -> Result<IntCounterVec> {
        self.keep("counter", IntCounterVec::new(own(name, help), labels))
    }

    pub(super) fn counter(&mut self, name: &str, help: &str) -> Result<IntCounter> {
        self.keep("counter", IntCounter::with_opts(own(name, help)))
    }

    pub(super) fn gauges(
        &mut self,
        name: &str,
        help: &str,
        labels: &[&str],
    ) -> Result<IntGaugeVec> {
        self.keep("gauge", IntGaugeVec::new(own(name, help), labels))
    }

    pub(super) fn gauge(&mut self, name: &str, help: &str) -> Result<IntGauge> {
        self.keep("gauge", IntGauge::with_opts(own(name, help)))
    }

    /// Gauges that are no whole numbers.
    pub(super) fn levels(&mut self, name: &str, help: &str, labels: &[&str]) -> Result<GaugeVec> {
        self.keep("gauge", GaugeVec::new(own(name, help), labels))
    }

    /// A gauge that is no whole number.
    pub(super) fn level(&mut self, name: &str, help: &str) -> Result<Gauge> {
        self.keep("gauge", Gauge::with_opts(own(name, help)))
    }

    /// A gauge of the process, under the name that Prometheus' conventions give it.
    pub(super) fn of_process(&mut self, name: &str, help: &str) -> Result<Gauge> {
        self.keep("gauge", Gauge::with_opts(Opts::new(name, help)))
    }

    pub(super) fn seconds(&mut self, name: &str, help: &str) -> Result<Histogram> {
        let options = HistogramOpts::new(name, help).namespace("stencilward");
        self.keep("histogram", Histogram::with_opts(options.buckets(SECONDS.to_vec())))
    }
}

fn own(name: &str, help: &str) -> Opts {
    Opts::new(name, help).namespace("stencilward")
}
