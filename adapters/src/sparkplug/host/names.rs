//! What a birth certificate says of names, aliases and types.

use std::collections::{BTreeMap, HashMap};
use std::sync::Arc;

use crate::sparkplug::payload::{Metric, Payload};
use crate::sparkplug::topic::Topic;

/// The metrics of one birth certificate.
#[derive(Debug, Default)]
pub(super) struct Names {
    types: BTreeMap<Arc<str>, Known>,
    by_alias: HashMap<u64, Arc<str>>,
}

#[derive(Debug, Clone, Copy)]
struct Known {
    datatype: Option<u32>,
    alias: Option<u64>,
}

/// How a metric is written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(in crate::sparkplug) struct Writable {
    /// Where the command goes.
    pub(in crate::sparkplug) topic: Topic,
    pub(in crate::sparkplug) alias: Option<u64>,
    pub(in crate::sparkplug) datatype: Option<u32>,
}

impl Names {
    pub(super) fn of(birth: &Payload) -> Self {
        let mut names = Self::default();
        for metric in &birth.metrics {
            let Some(name) = metric.name.as_deref().filter(|name| !name.is_empty()) else {
                continue;
            };
            let name: Arc<str> = Arc::from(name);
            if let Some(alias) = metric.alias {
                names.by_alias.insert(alias, Arc::clone(&name));
            }
            names.types.insert(name, Known { datatype: metric.datatype, alias: metric.alias });
        }
        names
    }

    pub(super) fn has(&self, name: &str) -> bool {
        self.types.contains_key(name)
    }

    /// The name of a metric, by itself or by its alias; none when nobody was born with that.
    pub(super) fn name(&self, metric: &Metric) -> Option<Arc<str>> {
        match (metric.name.as_deref().filter(|name| !name.is_empty()), metric.alias) {
            (Some(name), _) => {
                let known = self.types.get_key_value(name);
                Some(known.map_or_else(|| Arc::from(name), |(name, _)| Arc::clone(name)))
            }
            (None, Some(alias)) => self.by_alias.get(&alias).cloned(),
            (None, None) => None,
        }
    }

    /// The type of a metric: its own where it says one, else that of its birth.
    pub(super) fn datatype(&self, name: &str, metric: &Metric) -> Option<u32> {
        metric.datatype.or_else(|| self.types.get(name)?.datatype)
    }

    pub(super) fn writable(&self, topic: Topic, name: &str) -> Option<Writable> {
        let Known { datatype, alias } = *self.types.get(name)?;
        Some(Writable { topic, alias, datatype })
    }
}
