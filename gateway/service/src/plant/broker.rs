//! The embedded MQTT broker of simulated plants. Real ones use their own.

use std::net::SocketAddr;

use anyhow::Context as _;
use mqtt5::broker::config::{StorageBackend, StorageConfig};
use mqtt5::broker::{BrokerConfig, BrokerShutdownHandle, MqttBroker};
use tokio::task::JoinHandle;

use super::relay::Relay;

/// A broker in this process, on a free port of loopback. It ends when dropped.
pub(super) struct Broker {
    /// What its peers know. The broker behind it keeps their sessions while it is closed.
    door: Relay,
    stop: BrokerShutdownHandle,
    running: JoinHandle<()>,
}

impl Broker {
    pub(super) async fn start() -> anyhow::Result<Self> {
        let mut settings = BrokerConfig::default().with_bind_address(([127, 0, 0, 1], 0));
        settings.storage_config = StorageConfig {
            backend: StorageBackend::Memory,
            max_queued_messages_per_client: 1_000_000,
            ..StorageConfig::default()
        };
        settings.auth_config.allow_anonymous = true;
        settings.sys_topics_enabled = false;
        let mut broker = MqttBroker::with_config(settings).await.context("the plant's broker")?;
        let address = broker.local_addr().context("the plant's broker has no address")?;
        let stop = broker.shutdown_handle();
        let running = tokio::spawn(async move {
            if let Err(error) = broker.run().await {
                tracing::error!(%error, "the plant's broker ended");
            }
        });
        let door = Relay::start(address).await.context("a port for the plant's broker")?;
        Ok(Self { door, stop, running })
    }

    pub(super) fn address(&self) -> SocketAddr {
        self.door.address()
    }

    /// Takes it away from everybody, or gives it back with all it kept.
    pub(super) async fn switch(&self, on: bool) -> std::io::Result<()> {
        self.door.switch(on).await
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        self.stop.shutdown();
        self.running.abort();
    }
}
