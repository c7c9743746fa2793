//! The invented plant: a broker and simulated machines, wired as a configuration says.

use std::collections::BTreeMap;
use std::net::SocketAddr;
use std::sync::Arc;

use anyhow::Context as _;
use stencilward_adapters::simulated::Simulated;
use stencilward_adapters::{modbus, mqtt};
use stencilward_config::Configuration;
use stencilward_domain::names::MachineName;

use super::broker::Broker;
use super::tally::Tally;

/// A plant whose machines run on loopback.
pub struct Plant {
    /// The configuration with the addresses that the machines really have.
    pub configuration: Configuration,
    /// What the machines did.
    pub tally: Arc<Tally>,
    machines: BTreeMap<MachineName, Arc<dyn Simulated>>,
    _broker: Option<Broker>,
}

impl Plant {
    /// Starts a machine for each that the configuration names, and a broker when some speak
    /// MQTT; puts their addresses into the configuration.
    ///
    /// # Errors
    /// When loopback gives no port, or a machine cannot start.
    pub async fn start(mut configuration: Configuration) -> anyhow::Result<Self> {
        let broker =
            if configuration.brokers.is_empty() { None } else { Some(Broker::start().await?) };
        if let Some(broker) = &broker {
            for settings in &mut configuration.brokers {
                settings.address = broker.address().to_string();
            }
        }
        let mut machines: BTreeMap<MachineName, Arc<dyn Simulated>> = BTreeMap::new();
        for machine in &mut configuration.machines {
            let name = MachineName::new(&machine.name)?;
            let anywhere = SocketAddr::from(([127, 0, 0, 1], 0));
            if let Some(settings) = &mut machine.modbus {
                let simulated = modbus::Machine::start(settings.clone(), anywhere)
                    .await
                    .with_context(|| format!("the simulated machine {name}"))?;
                settings.address = Some(simulated.local_addr().to_string());
                machines.insert(name, Arc::new(simulated));
            } else if let (Some(settings), Some(broker)) = (&machine.mqtt, &broker) {
                let simulated = mqtt::Machine::start(broker.address(), &name, settings.clone());
                machines.insert(name, Arc::new(simulated));
            }
        }
        Ok(Self { configuration, tally: Arc::default(), machines, _broker: broker })
    }

    /// A machine by its name.
    ///
    /// # Errors
    /// When the configuration names no such machine.
    pub fn machine(&self, name: &str) -> anyhow::Result<(MachineName, Arc<dyn Simulated>)> {
        let name = MachineName::new(name)?;
        let machine = self.machines.get(&name).context("no such machine in the plant")?;
        Ok((name, Arc::clone(machine)))
    }
}
