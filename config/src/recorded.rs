//! Which machines are recorded, and how their recordings are decoded again.

use serde::Serialize;
use stencilward_adapters::record::{self, About, Decodes, Player};
use stencilward_domain::names::MachineName;

use crate::configuration::{Configuration, MachineSettings};

/// A machine that is recorded.
#[derive(Debug, Clone, PartialEq)]
pub(crate) struct Recorded {
    pub(crate) about: About,
    pub(crate) settings: record::Settings,
}

impl Configuration {
    /// What decodes recordings of this machine as the configuration describes it.
    ///
    /// # Errors
    /// When there is no such machine, or it has no protocol.
    pub fn player(&self, machine: &str) -> Result<Player, String> {
        let found = self.machines.iter().find(|known| known.name == machine).ok_or_else(|| {
            let names: Vec<&str> = self.machines.iter().map(|known| known.name.as_str()).collect();
            let names = if names.is_empty() { "none".to_owned() } else { names.join(", ") };
            format!("the file has no machine {machine}; it has: {names}")
        })?;
        let (about, decodes) =
            found.decoded().ok_or_else(|| format!("the machine {machine} has no protocol"))?;
        Ok(Player::new(about, decodes))
    }
}

impl MachineSettings {
    /// What is recorded of it, and where; none when nothing is.
    pub(crate) fn recorded(&self) -> Option<Recorded> {
        let settings = self.record.clone()?;
        Some(Recorded { about: self.decoded()?.0, settings })
    }

    /// The settings its link works with; none when it has none.
    fn decoded(&self) -> Option<(About, Decodes)> {
        let wired = self.wired();
        let (settings, decodes) = if let Some(modbus) = wired.modbus {
            (digest(&modbus), Decodes::Modbus(Box::new(modbus)))
        } else if let Some(mqtt) = wired.mqtt {
            (digest(&mqtt), Decodes::Mqtt(mqtt))
        } else {
            (digest(&wired.files?), Decodes::Files)
        };
        let about = About {
            machine: MachineName::new(&self.name).ok()?,
            kind: self.kind.word().to_owned(),
            protocol: decodes.protocol().to_owned(),
            settings,
        };
        Some((about, decodes))
    }
}

fn digest(settings: &impl Serialize) -> String {
    // Whatever was read from a file can be written.
    let text = serde_json::to_string(settings).unwrap_or_default();
    crate::digest(std::iter::once(&text))
}
