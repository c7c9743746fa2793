//! The embedded MQTT broker of the demo and of tests. Plants use their own.

use std::net::SocketAddr;

use anyhow::Context as _;
use mqtt5::broker::config::{StorageBackend, StorageConfig};
use mqtt5::broker::{BrokerConfig, BrokerShutdownHandle, MqttBroker};
use tokio::task::JoinHandle;

/// A broker in this process, on a free port of loopback. It ends when dropped.
pub struct Broker {
    address: SocketAddr,
    stop: BrokerShutdownHandle,
    running: JoinHandle<()>,
}

impl Broker {
    /// Starts it.
    ///
    /// # Errors
    /// When loopback gives no port.
    pub async fn start() -> anyhow::Result<Self> {
        let mut settings = BrokerConfig::default().with_bind_address(([127, 0, 0, 1], 0));
        settings.storage_config = StorageConfig {
            backend: StorageBackend::Memory,
            max_queued_messages_per_client: 1_000_000,
            ..StorageConfig::default()
        };
        settings.auth_config.allow_anonymous = true;
        settings.sys_topics_enabled = false;
        let mut broker = MqttBroker::with_config(settings).await.context("the demo's broker")?;
        let address = broker.local_addr().context("the demo's broker has no address")?;
        let stop = broker.shutdown_handle();
        let running = tokio::spawn(async move {
            if let Err(error) = broker.run().await {
                tracing::error!(%error, "the demo's broker ended");
            }
        });
        Ok(Self { address, stop, running })
    }

    /// Where it listens.
    #[must_use]
    pub fn address(&self) -> SocketAddr {
        self.address
    }
}

impl Drop for Broker {
    fn drop(&mut self) {
        self.stop.shutdown();
        self.running.abort();
    }
}
