//! Edge nodes and host applications that must not be taken for each other.

use std::collections::HashMap;

use stencilward_adapters::sparkplug;

use super::{Found, below, once};
use crate::configuration::Configuration;

impl Configuration {
    pub(super) fn check_sparkplug(&self, found: &mut Found) {
        let mut seen = HashMap::new();
        for (index, at) in self.sparkplug.iter().enumerate() {
            let path = format!("sparkplug[{index}]");
            once(&format!("{path}.broker"), &at.broker, &mut seen, found);
            self.check_broker(&format!("{path}.broker"), &at.broker, found);
            found.extend(below(&path, at.check()));
            let taken = |machine: &&sparkplug::Settings| {
                let own = at.publish_as.as_ref();
                machine.broker == at.broker
                    && own.is_some_and(|own| {
                        own.group == machine.group && own.edge_node == machine.edge_node
                    })
            };
            let mut machines =
                self.machines.iter().filter_map(|machine| machine.sparkplug.as_ref());
            if let Some(machine) = machines.find(taken) {
                let wrong = format!(
                    "a machine is edge node {} of this group already; the gateway needs an id of \
                     its own",
                    machine.edge_node
                );
                found.push((format!("{path}.publish-as.edge-node"), wrong));
            }
        }
        self.check_devices(found);
    }

    /// Two machines cannot be one device.
    fn check_devices(&self, found: &mut Found) {
        let mut seen = HashMap::new();
        for (index, machine) in self.machines.iter().enumerate() {
            let Some(settings) = &machine.sparkplug else {
                continue;
            };
            let sparkplug::Settings { broker, group, edge_node, device, .. } = settings;
            if let Some(first) = seen.insert((broker, group, edge_node, device), &machine.name) {
                let key = if device.is_some() { "device" } else { "edge-node" };
                let wrong = format!("is {first} already; one device is one machine");
                found.push((format!("machines[{index}].sparkplug.{key}"), wrong));
            }
        }
    }
}
