//! Brokers and machines that speak MQTT.

use std::sync::Arc;

use stencilward_adapters::mqtt::{self, Machine};
use stencilward_domain::names::MachineName;

use super::Started;
use super::broker::Broker;

/// Starts a broker instead of this one. It takes anybody and speaks in the clear, so no
/// password and no certificate is looked for.
pub(super) async fn broker(settings: &mut mqtt::Broker) -> anyhow::Result<Broker> {
    let broker = Broker::start().await?;
    settings.address = broker.address().to_string();
    (settings.user, settings.password_file, settings.password_env) = (None, None, None);
    settings.tls = None;
    Ok(broker)
}

pub(super) fn start(name: &MachineName, settings: &mqtt::Settings, broker: &Broker) -> Started {
    let machine = Machine::start_announcing(broker.address(), name, settings.clone());
    Started {
        machine: Arc::new(machine),
        speaks: "MQTT".to_owned(),
        real: format!("broker {}", settings.broker),
        here: broker.address().to_string(),
    }
}
