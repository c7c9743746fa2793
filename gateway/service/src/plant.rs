//! A plant of simulated machines, made of a configuration: each speaks its real protocol, on
//! loopback. Nothing that the configuration names is contacted, read or written.

mod broker;
mod certificates;
mod cfx;
mod files;
mod modbus;
mod mqtt;
mod relay;
mod sparkplug;
pub mod tally;

use std::collections::BTreeMap;
use std::path::Path;
use std::sync::Arc;

use anyhow::Context as _;
use stencilward_adapters::simulated::Simulated;
use stencilward_config::Configuration;
use stencilward_domain::names::MachineName;
use tempfile::TempDir;
use tokio_util::task::AbortOnDropHandle;

use broker::Broker;
use tally::Tally;

/// A plant whose machines run on loopback.
pub struct Plant {
    /// The configuration with the addresses, ports and folders that the machines really have, and
    /// without passwords and certificates that are meant for others.
    pub configuration: Configuration,
    /// What the machines did.
    pub tally: Arc<Tally>,
    /// Where each machine is, in the order of the configuration.
    pub stands: Vec<Stand>,
    machines: BTreeMap<MachineName, Arc<dyn Simulated>>,
    brokers: BTreeMap<String, Broker>,
    _life_signs: Vec<AbortOnDropHandle<()>>,
    /// What the machines have files in: gone with the plant.
    folder: TempDir,
}

/// Where a machine is in the configuration, and where it is instead.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Stand {
    /// Which.
    pub machine: MachineName,
    /// Its protocol, in words.
    pub speaks: String,
    /// Where it is by the configuration; empty when it speaks no protocol.
    pub real: String,
    /// Where the simulated one is.
    pub here: String,
}

/// A machine that was started, and where it is.
struct Started {
    machine: Arc<dyn Simulated>,
    speaks: String,
    real: String,
    here: String,
}

impl Plant {
    /// Starts a machine for each that speaks a protocol, and each broker; puts where they are into
    /// the configuration.
    ///
    /// # Errors
    /// When loopback gives no port, the system no serial line, or a machine cannot start.
    pub async fn start(mut configuration: Configuration) -> anyhow::Result<Self> {
        let folder = tempfile::tempdir().context("no temporary folder for the plant")?;
        let mut brokers = BTreeMap::new();
        for settings in &mut configuration.brokers {
            brokers.insert(settings.name.clone(), mqtt::broker(settings).await?);
        }
        let mut endpoints = BTreeMap::new();
        for settings in &mut configuration.cfx {
            endpoints.insert(settings.name.clone(), cfx::place(settings)?);
        }
        let mut lines = modbus::Lines::default();
        let mut nodes = sparkplug::Nodes::default();
        let (mut machines, mut stands) = (BTreeMap::new(), Vec::new());
        for settings in &mut configuration.machines {
            let name = MachineName::new(&settings.name)?;
            // A recording is of the real machine.
            settings.record = None;
            let started = if let Some(modbus) = &mut settings.modbus {
                let started = lines.start(&name, modbus, folder.path()).await;
                Some(started.with_context(|| format!("the simulated machine {name}"))?)
            } else if let Some(mqtt) = &settings.mqtt {
                let broker = brokers.get(&mqtt.broker);
                Some(mqtt::start(&name, mqtt, broker.context("a machine without its broker")?))
            } else if let Some(sparkplug) = &settings.sparkplug {
                let broker =
                    brokers.get(&sparkplug.broker).context("a machine without its broker")?;
                Some(nodes.start(&name, sparkplug, broker).await)
            } else if let Some(cfx) = &mut settings.cfx {
                let place = endpoints.get(&cfx.endpoint);
                Some(cfx::start(&name, cfx, place.context("a machine without its endpoint")?)?)
            } else if let Some(files) = &mut settings.files {
                Some(files::start(&name, files, folder.path())?)
            } else {
                None
            };
            stands.push(Stand::of(&name, started.as_ref()));
            machines.extend(started.map(|started| (name, started.machine)));
        }
        let life_signs = lines.life_signs();
        let tally = Arc::default();
        Ok(Self {
            configuration,
            tally,
            stands,
            machines,
            brokers,
            _life_signs: life_signs,
            folder,
        })
    }

    /// A machine by its name.
    ///
    /// # Errors
    /// When the configuration names no such machine, or it speaks no protocol.
    pub fn machine(&self, name: &str) -> anyhow::Result<(MachineName, Arc<dyn Simulated>)> {
        let name = MachineName::new(name)?;
        let machine = self.machines.get(&name).context("no such machine in the plant")?;
        Ok((name, Arc::clone(machine)))
    }

    /// A folder that is gone with the plant.
    #[must_use]
    pub fn folder(&self) -> &Path {
        self.folder.path()
    }

    /// The names of the brokers.
    pub fn brokers(&self) -> impl Iterator<Item = &str> {
        self.brokers.keys().map(String::as_str)
    }

    /// Takes a broker away from everybody, or gives it back with all it kept; false when there is
    /// no such broker.
    ///
    /// # Errors
    /// When its port was taken meanwhile.
    pub async fn switch_broker(&self, name: &str, on: bool) -> std::io::Result<bool> {
        let Some(broker) = self.brokers.get(name) else {
            return Ok(false);
        };
        broker.switch(on).await?;
        Ok(true)
    }
}

impl Stand {
    fn of(machine: &MachineName, started: Option<&Started>) -> Self {
        let machine = machine.clone();
        match started {
            Some(Started { speaks, real, here, .. }) => {
                let (speaks, real, here) = (speaks.clone(), real.clone(), here.clone());
                Self { machine, speaks, real, here }
            }
            None => {
                let speaks = "no protocol of its own".to_owned();
                Self { machine, speaks, real: String::new(), here: String::new() }
            }
        }
    }
}
