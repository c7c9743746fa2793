//! What a schema cannot see in the Sparkplug part of the configuration.

use std::collections::{BTreeMap, HashMap};

use stencilward_domain::names::{CounterName, OutputName, SlotName};

use super::settings::{AtBroker, Metric, Output, OwnNode, Phase, Settings};
use super::topic::id_fault;
use crate::settings::{Drive, unit_fault};

type Found = Vec<(String, String)>;

/// Longest time a message may be late.
const LATEST: std::time::Duration = std::time::Duration::from_secs(60);

impl AtBroker {
    /// Everything wrong with it: the key's path below it, and what is wrong and allowed.
    #[must_use]
    pub fn check(&self) -> Vec<(String, String)> {
        let mut found = Found::new();
        let host = self.host_id.as_deref().and_then(id_fault);
        found.extend(host.map(|wrong| ("host-id".to_owned(), wrong.to_owned())));
        if self.reorder_timeout.0 > LATEST {
            found.push(("reorder-timeout".to_owned(), "lies between 0s and 1min".to_owned()));
        }
        if let Some(node) = &self.publish_as {
            node.check(&mut found);
        }
        found
    }
}

impl OwnNode {
    fn check(&self, found: &mut Found) {
        let primary = self.primary_host.as_deref().unwrap_or("none");
        let ids =
            [("group", &*self.group), ("edge-node", &*self.edge_node), ("primary-host", primary)];
        for (key, id) in ids {
            if let Some(wrong) = id_fault(id) {
                found.push((format!("publish-as.{key}"), wrong.to_owned()));
            }
        }
    }
}

impl Settings {
    /// Everything wrong with it: the key's path below `sparkplug`, and what is wrong and allowed.
    #[must_use]
    pub fn check(&self) -> Vec<(String, String)> {
        let mut found = Found::new();
        let device = self.device.as_deref().unwrap_or("none");
        for (key, id) in
            [("group", &*self.group), ("edge-node", &*self.edge_node), ("device", device)]
        {
            found.extend(id_fault(id).map(|wrong| (key.to_owned(), wrong.to_owned())));
        }
        let mut once = Once::default();
        for (index, metric) in self.metrics.iter().enumerate() {
            let path = format!("metrics[{index}]");
            metric.check(&path, &mut found);
            once.look(metric, &path, &mut found);
        }
        self.check_asking(&mut found);
        let mut seen = HashMap::new();
        for (index, output) in self.outputs.iter().enumerate() {
            let path = format!("outputs[{index}]");
            output.check(&path, &mut found);
            for (key, text) in [("name", &output.name), ("metric", &output.metric)] {
                if let Some(first) = seen.insert((key, text.trim()), path.clone()) {
                    let wrong = format!("{text:?} is used before, at {first}");
                    found.push((format!("{path}.{key}"), wrong));
                }
            }
        }
        found
    }

    /// Who asks must say about which stencil.
    fn check_asking(&self, found: &mut Found) {
        let names_it = self.metrics.iter().any(|metric| matches!(metric, Metric::AskedStencil(_)));
        for (index, metric) in self.metrics.iter().enumerate() {
            if matches!(metric, Metric::StoreAsked(_) | Metric::TakeAsked(_)) && !names_it {
                let wrong = "needs a metric that gives asked-stencil: which one is asked about";
                found.push((format!("metrics[{index}].signal"), wrong.to_owned()));
            }
        }
    }
}

/// What may be told by one metric only.
#[derive(Default)]
struct Once(BTreeMap<String, String>);

impl Once {
    fn look(&mut self, metric: &Metric, path: &str, found: &mut Found) {
        let (key, what) = match metric {
            Metric::StrokeTotal(_) | Metric::WipeTotal(_) => match metric.counter() {
                Some((counter, _)) => ("counter", format!("counter {counter}")),
                None => return,
            },
            Metric::Slot(slot) | Metric::SlotCode(slot) => {
                ("slot", format!("slot {}", slot.slot.trim()))
            }
            Metric::Fault(fault) => ("code", format!("fault {}", fault.code)),
            Metric::Measured(measured) => ("quantity", format!("measured {}", measured.quantity)),
            _ => ("signal", format!("signal of {}", kind(metric))),
        };
        if let Some(first) = self.0.insert(what.clone(), path.to_owned()) {
            let wrong = format!("the {what} is told before, at {first}: keep one of them");
            found.push((format!("{path}.{key}"), wrong));
        }
    }
}

/// A word that tells signals apart of which a machine has one each.
fn kind(metric: &Metric) -> &'static str {
    match metric {
        Metric::StencilSeated(_) => "stencil-seated",
        Metric::MachineState(_) => "machine-state",
        Metric::WashState(_) => "wash-state",
        Metric::WashStencil(_) => "wash-stencil",
        Metric::WashProgramme(_) => "wash-programme",
        Metric::Order(_) => "order",
        Metric::StoreAsked(_) => "store-asked",
        Metric::TakeAsked(_) => "take-asked",
        Metric::AskedStencil(_) => "asked-stencil",
        Metric::AskedSlot(_) => "asked-slot",
        _ => "asked-order",
    }
}

impl Metric {
    fn check(&self, path: &str, found: &mut Found) {
        let mut fault = |key: &str, wrong: String| found.push((format!("{path}.{key}"), wrong));
        if self.name().is_empty() {
            fault("name", "empty; write the metric's name as the birth certificate has it".into());
        }
        match self {
            Self::StrokeTotal(total) | Self::WipeTotal(total) => {
                if let Some(Err(error)) = total.counter.as_deref().map(CounterName::new) {
                    fault("counter", error.to_string());
                }
            }
            Self::Slot(slot) | Self::SlotCode(slot) => {
                if let Err(error) = SlotName::new(&slot.slot) {
                    fault("slot", error.to_string());
                }
            }
            Self::MachineState(state) if state.values.is_empty() => {
                fault("values", "empty; say what each value means, such as RUN: running".into());
            }
            Self::WashState(wash) => {
                let has = |phase| wash.values.values().any(|known| *known == phase);
                for (phase, word) in [(Phase::Running, "running"), (Phase::Passed, "passed")] {
                    if !has(phase) {
                        fault("values", format!("no value means {word}: no wash could be told"));
                    }
                }
            }
            Self::Measured(measured) => {
                if let Some(wrong) = unit_fault(&measured.quantity, &measured.unit) {
                    fault("unit", wrong.to_owned());
                }
                if !measured.scale.is_finite() || measured.scale == 0.0 {
                    fault("scale", "is a number other than 0".to_owned());
                }
                if !measured.offset.is_finite() {
                    fault("offset", "is a number".to_owned());
                }
            }
            _ => {}
        }
    }
}

impl Output {
    fn check(&self, path: &str, found: &mut Found) {
        let mut fault =
            |key: &str, wrong: &str| found.push((format!("{path}.{key}"), wrong.into()));
        if let Err(error) = OutputName::new(&self.name) {
            fault("name", &error.to_string());
        }
        if self.metric.is_empty() {
            fault("metric", "empty; write the metric's name as the birth certificate has it");
        }
        if self.drive == Drive::Heartbeat && self.read_back.is_some() {
            fault("read-back", "does not belong to a heartbeat, which writes a number");
        }
    }
}
