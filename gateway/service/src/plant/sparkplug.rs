//! Machines that speak Sparkplug: edge nodes, and devices of one.

use std::collections::BTreeMap;
use std::sync::Arc;

use stencilward_adapters::sparkplug::{Machine, Settings};
use stencilward_domain::names::MachineName;

use super::Started;
use super::broker::Broker;

/// The edge nodes of the configuration, each by its first machine.
#[derive(Default)]
pub(super) struct Nodes(BTreeMap<(String, String, String), Arc<Machine>>);

impl Nodes {
    /// Starts a machine: with its edge node, or beside those that are of it already.
    pub(super) async fn start(
        &mut self,
        name: &MachineName,
        settings: &Settings,
        broker: &Broker,
    ) -> Started {
        let node = (settings.broker.clone(), settings.group.clone(), settings.edge_node.clone());
        let machine = match self.0.get(&node) {
            Some(first) => Arc::new(first.beside(name, settings.clone()).await),
            None => Arc::new(Machine::start(broker.address(), name, settings.clone())),
        };
        self.0.entry(node).or_insert_with(|| Arc::clone(&machine));
        let Settings { broker: real, group, edge_node, device, .. } = settings;
        let device = device.iter().map(|device| format!("/{device}")).collect::<String>();
        Started {
            machine,
            speaks: format!("Sparkplug, {group}/{edge_node}{device}"),
            real: format!("broker {real}"),
            here: broker.address().to_string(),
        }
    }
}
