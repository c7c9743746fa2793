//! One machine of an edge node: the node itself, or a device of it.

use std::collections::BTreeMap;

use stencilward_domain::names::MachineName;
use stencilward_domain::signal::{Said, Signal};
use stencilward_domain::time::Timestamp;

use super::names::Names;
use super::{Deed, Moment};
use crate::link::Trouble;
use crate::sparkplug::decode::{Present, Reader};
use crate::sparkplug::payload::{Metric, Payload};
use crate::sparkplug::settings::Settings;
use crate::sparkplug::value::{Garbled, Plain};

/// A machine, and what was last told of its link.
pub(super) struct Member {
    pub(super) machine: MachineName,
    pub(super) device: Option<String>,
    reader: Reader,
    /// Metrics that tell what was written, and what each showed last.
    shown: BTreeMap<String, Option<bool>>,
    told: Link,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Link {
    Nothing,
    Up,
    Lost,
}

impl Member {
    pub(super) fn new(machine: &MachineName, settings: &Settings) -> Self {
        let outputs = settings.outputs.iter();
        let shown = outputs.map(|output| output.read_back.as_ref().unwrap_or(&output.metric));
        Self {
            machine: machine.clone(),
            device: settings.device.clone(),
            reader: Reader::new(machine.clone(), settings.metrics.clone()),
            shown: shown.map(|metric| (metric.clone(), None)).collect(),
            told: Link::Nothing,
        }
    }

    pub(super) fn is_lost(&self) -> bool {
        self.told == Link::Lost
    }

    pub(super) fn shown(&self, metric: &str) -> Option<bool> {
        *self.shown.get(metric)?
    }

    pub(super) fn born(
        &mut self,
        names: &Names,
        birth: &Payload,
        now: Moment,
        deeds: &mut Vec<Deed>,
    ) {
        self.told = Link::Up;
        self.shown.values_mut().for_each(|shown| *shown = None);
        let mut troubles = self.reader.missing(|name| names.has(name));
        let present = self.present(names, birth, &mut troubles);
        let heard = self.reader.born(&present, now.at);
        let up = self.signal(Said::LinkUp { resumed: false }, now.at);
        let signals = std::iter::once(up).chain(heard.signals).collect();
        troubles.extend(heard.troubles);
        self.tell(signals, troubles, deeds);
    }

    pub(super) fn told(
        &mut self,
        names: &Names,
        data: &Payload,
        now: Moment,
        deeds: &mut Vec<Deed>,
    ) {
        let mut troubles = Vec::new();
        let present = self.present(names, data, &mut troubles);
        let heard = self.reader.told(&present, now.at);
        troubles.extend(heard.troubles);
        self.tell(heard.signals, troubles, deeds);
    }

    pub(super) fn lost(&mut self, why: &str, now: Moment, deeds: &mut Vec<Deed>) {
        self.shown.values_mut().for_each(|shown| *shown = None);
        if self.told != Link::Lost {
            self.told = Link::Lost;
            let lost = self.signal(Said::LinkLost { why: why.to_owned() }, now.at);
            deeds.push(Deed::Deliver(self.machine.clone(), vec![lost]));
        }
    }

    fn signal(&self, said: Said, received: Timestamp) -> Signal {
        let machine = self.machine.clone();
        Signal { machine, received, machine_time: None, identity: None, said }
    }

    fn tell(&self, signals: Vec<Signal>, troubles: Vec<Garbled>, deeds: &mut Vec<Deed>) {
        let machine = || self.machine.clone();
        deeds.extend(troubles.into_iter().map(|(kind, why)| Deed::Trouble(machine(), kind, why)));
        if !signals.is_empty() {
            deeds.push(Deed::Deliver(machine(), signals));
        }
    }

    /// What a message says of the metrics that are read, as far as it holds now.
    fn present(
        &mut self,
        names: &Names,
        message: &Payload,
        troubles: &mut Vec<Garbled>,
    ) -> Vec<Present> {
        let mut present = Vec::new();
        for metric in &message.metrics {
            let Some(name) = names.name(metric) else {
                continue;
            };
            let (reads, shows) = (self.reader.reads(&name), self.shown.contains_key(&*name));
            if !reads && !shows {
                continue;
            }
            match value(metric, names.datatype(&name, metric)) {
                Ok(value) => {
                    if let Some(shown) = self.shown.get_mut(&*name) {
                        *shown = value.truth();
                    }
                    if reads {
                        let at = metric.timestamp.or(message.timestamp).and_then(time);
                        present.push(Present { name, value, at });
                    }
                }
                Err((kind, why)) => troubles.push((kind, format!("{name}: {why}"))),
            }
        }
        present
    }
}

fn value(metric: &Metric, datatype: Option<u32>) -> Result<Plain, Garbled> {
    if metric.is_historical == Some(true) {
        return Err((Trouble::Stale, "it tells of the past, not of now".to_owned()));
    }
    match metric.poor_quality() {
        None => Plain::of(metric, datatype),
        Some(500) => Err((Trouble::Stale, "the machine marks it as stale".to_owned())),
        Some(code) => Err((Trouble::Senseless, format!("the machine marks it as bad ({code})"))),
    }
}

fn time(millis: u64) -> Option<Timestamp> {
    i64::try_from(millis).ok().map(Timestamp)
}
