//! A RabbitMQ broker of our own ([`Service`]) that speaks AMQP 1.0, by its plugin or, from version
//! 4, by itself.
//!
//! It declares the durable queues [`QUEUE`], to which the topic exchange `cfx` gives all that is
//! sent there, and [`TOLD`], and lets in one user.
//!
//! Run with 3.10 (Debian). What is said here about 4 is from RabbitMQ's documentation and was not
//! run.

mod definitions;
mod hello;
mod installed;

use std::net::SocketAddr;
use std::process::Command;
use std::time::Duration;

use crate::certificates::Shown;
use crate::service::{Server, Service, Site};

/// The user that is let in, and its password.
pub const USER: (&str, &str) = ("stencilward", "invented");

/// The queue that takes all that is sent to the exchange.
pub const QUEUE: &str = "stencilward";

/// The queue that takes what is sent to the exchange with the key `told`.
pub const TOLD: &str = "told";

/// What a broker shows when it also listens secured.
#[derive(Debug, Clone, Default)]
pub struct Broker {
    shown: Option<Shown>,
    /// The first number of the version that runs.
    version: u32,
}

/// A running broker.
pub type RabbitMq = Service<Broker>;

impl RabbitMq {
    /// Starts a broker and waits until it answers.
    ///
    /// # Panics
    /// As for [`Service::run`].
    pub async fn start() -> Option<Self> {
        Self::run(Broker::default()).await
    }

    /// The same, and it also listens secured, at [`Self::secured_port`], where it shows this
    /// certificate.
    ///
    /// # Panics
    /// As for [`Self::start`].
    pub async fn start_secured(shown: &Shown) -> Option<Self> {
        Self::run(Broker { shown: Some(shown.clone()), ..Broker::default() }).await
    }

    /// Where it listens for AMQP over TLS, if it was started so.
    #[must_use]
    pub fn secured_port(&self) -> u16 {
        self.port_at(1)
    }

    /// The AMQP 1.0 address of the durable queue of this name. The older version would declare
    /// one that is not durable at `/queue/`.
    #[must_use]
    pub fn queue(&self, name: &str) -> String {
        if self.server().version < 4 {
            format!("/amq/queue/{name}")
        } else {
            format!("/queues/{name}")
        }
    }

    /// The AMQP 1.0 address of the exchange for messages with this key.
    #[must_use]
    pub fn exchange(&self, key: &str) -> String {
        let exchange = if self.server().version < 4 { "/exchange" } else { "/exchanges" };
        format!("{exchange}/cfx/{key}")
    }
}

impl Server for Broker {
    const NAME: &'static str = "rabbitmq";
    const IMAGE: &'static str = "rabbitmq:4";
    const PORTS: &'static [u16] = &[5672, 5671];
    const CONFIGURATION: &'static str = "/etc/rabbitmq";
    const DATA: &'static str = "/var/lib/rabbitmq";
    const LISTENS: &'static str = "Server startup complete";
    /// Some twelve seconds where nothing else runs.
    const PATIENCE: Duration = Duration::from_secs(120);

    fn files(&self, site: &Site) -> Vec<(&'static str, String)> {
        let [port, secured] = site.ports[..] else { panic!("a broker has two ports") };
        let (address, folder) = (site.address, site.configuration.display());
        let mut settings = format!(
            "listeners.tcp.1 = {address}:{port}\nload_definitions = {folder}/definitions.json\n\
             disk_free_limit.absolute = 1MB\nlog.console = true\nlog.file = false\n"
        );
        let mut files = vec![
            ("definitions.json", definitions::definitions()),
            // Without effect in version 4, which has it inside.
            ("enabled_plugins", "[rabbitmq_amqp1_0].\n".to_owned()),
        ];
        if let Some(Shown { certificate, key }) = &self.shown {
            settings += &format!(
                "listeners.ssl.1 = {address}:{secured}\nssl_options.verify = verify_none\n\
                 ssl_options.certfile = {folder}/server.pem\n\
                 ssl_options.keyfile = {folder}/server.key\n"
            );
            for (name, file) in [("server.pem", certificate), ("server.key", key)] {
                let text = std::fs::read_to_string(file);
                files.push((name, text.unwrap_or_else(|why| panic!("{}: {why}", file.display()))));
            }
        }
        files.push(("rabbitmq.conf", settings));
        files
    }

    fn command(&self, _site: &Site) -> Vec<String> {
        vec!["rabbitmq-server".to_owned()]
    }

    fn programs(&self, site: &Site) -> Option<Vec<Command>> {
        installed::programs(site)
    }

    async fn hello(&self, address: SocketAddr) -> Result<(), String> {
        hello::hello(address).await
    }

    async fn learn(&mut self, address: SocketAddr) {
        let version = hello::version(address).await;
        self.version =
            version.unwrap_or_else(|why| panic!("RabbitMQ does not tell its version: {why}"));
    }
}
