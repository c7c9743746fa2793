//! The counters that events move, taken out and put back: they count the gateway's whole life,
//! whatever was read of it.

use std::collections::{BTreeMap, HashMap};

use prometheus::core::Collector;
use prometheus::{IntCounter, IntCounterVec};
use serde::{Deserialize, Serialize};

use super::families::Families;

/// One counter's value.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub(crate) struct Count {
    family: String,
    labels: BTreeMap<String, String>,
    value: u64,
}

/// A family of which the ledger knows all.
pub(super) enum Lifetime<'a> {
    /// One counter.
    One(&'a IntCounter),
    /// One for each combination of labels.
    Many(&'a IntCounterVec),
}

impl Lifetime<'_> {
    /// The values of its counters, where they are more than zero.
    fn counts(&self) -> Vec<Count> {
        let families = match self {
            Self::One(counter) => counter.collect(),
            Self::Many(counters) => counters.collect(),
        };
        let mut counts = Vec::new();
        for family in families {
            for metric in family.get_metric() {
                let label = |pair: &prometheus::proto::LabelPair| {
                    (pair.name().to_owned(), pair.value().to_owned())
                };
                let labels = metric.get_label().iter().map(label).collect();
                // Counters of whole numbers, which prometheus tells as floating-point ones.
                #[expect(clippy::cast_possible_truncation, clippy::cast_sign_loss)]
                let value = metric.get_counter().get_value() as u64;
                counts.push(Count { family: family.name().to_owned(), labels, value });
            }
        }
        counts.retain(|count| count.value > 0);
        counts
    }

    fn name(&self) -> Option<String> {
        let described = match self {
            Self::One(counter) => counter.desc(),
            Self::Many(counters) => counters.desc(),
        };
        described.first().map(|first| first.fq_name.clone())
    }

    fn add(&self, count: &Count) -> prometheus::Result<()> {
        match self {
            Self::One(counter) => counter.inc_by(count.value),
            Self::Many(counters) => {
                let labels: HashMap<&str, &str> =
                    count.labels.iter().map(|(name, value)| (&**name, &**value)).collect();
                counters.get_metric_with(&labels)?.inc_by(count.value);
            }
        }
        Ok(())
    }
}

/// What was counted until now.
pub(super) fn counts(families: &Families) -> Vec<Count> {
    families.lifetime().iter().flat_map(Lifetime::counts).collect()
}

/// Counts on from these values.
///
/// # Errors
/// When a family takes no such labels.
pub(super) fn recall(families: &Families, counts: &[Count]) -> prometheus::Result<()> {
    let lifetime = families.lifetime();
    let by_name: HashMap<_, _> =
        lifetime.iter().filter_map(|family| Some((family.name()?, family))).collect();
    for count in counts {
        if let Some(family) = by_name.get(&count.family) {
            family.add(count)?;
        }
    }
    Ok(())
}
