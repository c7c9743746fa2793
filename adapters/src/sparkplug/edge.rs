//! The gateway as an edge node: from what it shows to the messages that tell it. Pure.
//!
//! The plant is the edge node, with each machine's link and strokes that are nobody's; each stencil
//! is a device, so that one that is bought or retired is born or dies alone. Metrics go by name:
//! aliases would save few bytes and cost whoever reads along. Source: Sparkplug 3.0.0, 4.2, 6.4.

use std::collections::BTreeMap;
use std::sync::Arc;

use stencilward_domain::names::{MachineName, StencilCode};

use super::payload::{Metric, Payload, Value, datatype};
use super::topic::{Kind, NodeName, Topic, as_id};
use super::{BD_SEQ, REBIRTH};
use crate::shown::{Shown, ShownMachine, ShownStencil};

/// A message to publish.
pub(super) type Message = (Topic, Payload);

/// A metric before it is sent: its name, type, and value if it has one.
type Told = (String, u32, Option<Value>);

/// An edge node, and what it told last.
pub(super) struct Edge {
    node: NodeName,
    bd_seq: u64,
    seq: u8,
    stencils: BTreeMap<StencilCode, Arc<ShownStencil>>,
    machines: BTreeMap<MachineName, ShownMachine>,
}

impl Edge {
    /// An edge node that will be born under this number.
    pub(super) fn new(node: NodeName, bd_seq: u64) -> Self {
        Self { node, bd_seq, seq: 0, stencils: BTreeMap::new(), machines: BTreeMap::new() }
    }

    /// The death certificate (6.4.25): the number of the birth it belongs to, and no place in the
    /// order.
    pub(super) fn death(&self, millis: u64) -> Message {
        let metric = Metric::new(BD_SEQ, datatype::INT64, Some(Value::Long(self.bd_seq)), millis);
        let payload = Payload { timestamp: Some(millis), metrics: vec![metric], seq: None };
        (Topic::new(&self.node, Kind::Death, None), payload)
    }

    /// The birth certificates: the edge node's, with number 0, then those of all devices.
    pub(super) fn birth(&mut self, shown: &Shown, millis: u64) -> Vec<Message> {
        self.seq = 0;
        self.machines.clone_from(&shown.machines);
        self.stencils.clone_from(&shown.stencils);
        let mut told = vec![
            (BD_SEQ.to_owned(), datatype::INT64, Some(Value::Long(self.bd_seq))),
            (REBIRTH.to_owned(), datatype::BOOLEAN, Some(Value::Boolean(false))),
            text("Properties/Software", "Stencilward"),
            text("Properties/Version", env!("CARGO_PKG_VERSION")),
        ];
        told.extend(plant(shown));
        let mut messages = vec![self.message(Kind::Birth, None, told, millis)];
        for (code, stencil) in &shown.stencils {
            messages.push(self.message(Kind::Birth, Some(code), metrics(stencil), millis));
        }
        messages
    }

    /// What has changed since: data, births of new devices, deaths of those that are gone. Other
    /// machines than before need another birth of the edge node.
    pub(super) fn change(&mut self, shown: &Shown, millis: u64) -> Vec<Message> {
        if !self.machines.keys().eq(shown.machines.keys()) {
            return self.birth(shown, millis);
        }
        let before = Shown { machines: self.machines.clone(), ..Shown::default() };
        let mut told = news(plant_machines(&before), plant_machines(shown));
        if self.stencils.len() != shown.stencils.len() {
            told.push(stencil_count(shown));
        }
        let mut messages = Vec::new();
        if !told.is_empty() {
            messages.push(self.message(Kind::Data, None, told, millis));
        }
        let known = std::mem::take(&mut self.stencils);
        for code in known.keys().filter(|code| !shown.stencils.contains_key(*code)) {
            messages.push(self.message(Kind::Death, Some(code), Vec::new(), millis));
        }
        for (code, stencil) in &shown.stencils {
            match known.get(code) {
                None => {
                    messages.push(self.message(Kind::Birth, Some(code), metrics(stencil), millis))
                }
                Some(before) if Arc::ptr_eq(before, stencil) => {}
                Some(before) => {
                    let told = news(metrics(before), metrics(stencil));
                    if !told.is_empty() {
                        messages.push(self.message(Kind::Data, Some(code), told, millis));
                    }
                }
            }
        }
        self.machines.clone_from(&shown.machines);
        self.stencils.clone_from(&shown.stencils);
        messages
    }

    fn message(
        &mut self,
        kind: Kind,
        stencil: Option<&StencilCode>,
        told: Vec<Told>,
        millis: u64,
    ) -> Message {
        let born = kind == Kind::Birth;
        let metrics = told.into_iter().map(|(name, datatype, value)| {
            let metric = Metric::new(&name, datatype, value, millis);
            // Data should not repeat the type (payloads-metric-datatype-not-req).
            Metric { datatype: metric.datatype.filter(|_| born), ..metric }
        });
        let seq = Some(u64::from(self.seq));
        let payload = Payload { timestamp: Some(millis), metrics: metrics.collect(), seq };
        self.seq = self.seq.wrapping_add(1);
        let device = stencil.map(|code| as_id(code.as_str()));
        (Topic::new(&self.node, kind, device.as_deref()), payload)
    }
}

/// Those that are other than before.
fn news(before: Vec<Told>, now: Vec<Told>) -> Vec<Told> {
    now.into_iter().zip(before).filter_map(|(now, before)| (now != before).then_some(now)).collect()
}

fn plant(shown: &Shown) -> Vec<Told> {
    let mut told = plant_machines(shown);
    told.push(stencil_count(shown));
    told
}

fn stencil_count(shown: &Shown) -> Told {
    count("Stencils", shown.stencils.len() as u64)
}

fn plant_machines(shown: &Shown) -> Vec<Told> {
    let mut told = Vec::new();
    for (name, machine) in &shown.machines {
        let up = Some(Value::Boolean(machine.up));
        told.push((format!("Machines/{name}/Up"), datatype::BOOLEAN, up));
        told.push(count(&format!("Machines/{name}/Unattributed Strokes"), machine.unattributed));
    }
    told
}

/// What is told of a stencil, always in this order.
fn metrics(stencil: &ShownStencil) -> Vec<Told> {
    let may = |name: &str, value: Option<&String>| {
        (name.to_owned(), datatype::STRING, value.cloned().map(Value::String))
    };
    vec![
        may("Product", stencil.product.as_ref()),
        text("Cleanliness", stencil.cleanliness),
        text("Standing", stencil.standing),
        text("Wear Band", stencil.wear_band),
        text("Place", stencil.place),
        may("Machine", stencil.machine.as_ref()),
        may("Slot", stencil.slot.as_ref()),
        count("Strokes", stencil.strokes),
        count("Rated Strokes", stencil.rated_strokes),
        ("Life Ratio".to_owned(), datatype::DOUBLE, Some(Value::Double(stencil.life_ratio))),
        count("Strokes Since Wash", stencil.strokes_since_wash),
        count("Washes", stencil.washes),
    ]
}

fn text(name: &str, value: &str) -> Told {
    (name.to_owned(), datatype::STRING, Some(Value::String(value.to_owned())))
}

fn count(name: &str, value: u64) -> Told {
    (name.to_owned(), datatype::UINT64, Some(Value::Long(value)))
}

#[cfg(test)]
mod tests;
