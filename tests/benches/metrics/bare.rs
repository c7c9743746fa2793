//! The same families in a bare registry of the library, gathered and encoded in this process.

use std::collections::{BTreeMap, HashMap};

use prometheus::{CounterVec, GaugeVec, Opts, Registry, TextEncoder};

/// Labels with their values, and the value of the series.
type Series = (Vec<(String, String)>, f64);

/// A registry with the series of an exposition in the text format 0.0.4. Of histograms and other
/// families without a plain value it has each line as a gauge: they are few.
pub(crate) fn registry(exposition: &str) -> Registry {
    let registry = Registry::new();
    let mut kinds = HashMap::new();
    let mut helps = HashMap::new();
    let mut families: BTreeMap<&str, Vec<Series>> = BTreeMap::new();
    for line in exposition.lines() {
        if let Some(told) = line.strip_prefix("# TYPE ") {
            kinds.extend(told.split_once(' '));
        } else if let Some(told) = line.strip_prefix("# HELP ") {
            helps.extend(told.split_once(' '));
        } else {
            let (name, labels, value) = sample(line);
            families.entry(name).or_default().push((labels, value));
        }
    }
    for (name, series) in families {
        let options = Opts::new(name, helps.get(name).copied().unwrap_or("none"));
        let labels: Vec<&str> = series[0].0.iter().map(|(label, _)| label.as_str()).collect();
        let values = series.iter().map(|(labels, value)| {
            (labels.iter().map(|(_, value)| value.as_str()).collect::<Vec<_>>(), *value)
        });
        if kinds.get(name) == Some(&"counter") {
            let family = CounterVec::new(options, &labels).unwrap();
            values.for_each(|(labels, value)| family.with_label_values(&labels).inc_by(value));
            registry.register(Box::new(family)).unwrap();
        } else {
            let family = GaugeVec::new(options, &labels).unwrap();
            values.for_each(|(labels, value)| family.with_label_values(&labels).set(value));
            registry.register(Box::new(family)).unwrap();
        }
    }
    registry
}

/// Everything gathered and encoded.
pub(crate) fn encoded(registry: &Registry) -> String {
    let mut text = String::new();
    TextEncoder::new().encode_utf8(&registry.gather(), &mut text).unwrap();
    text
}

/// Name, labels and value of a line. No label of the bench has a quote or a comma in it.
fn sample(line: &str) -> (&str, Vec<(String, String)>, f64) {
    let (series, value) = line.rsplit_once(' ').unwrap();
    let (name, labels) = series.split_once('{').unwrap_or((series, "}"));
    let labels = labels.trim_end_matches('}').split(',').filter(|label| !label.is_empty());
    let label = |label: &str| {
        let (name, value) = label.split_once('=').unwrap();
        (name.to_owned(), value.trim_matches('"').to_owned())
    };
    (name, labels.map(label).collect(), value.parse().unwrap())
}
