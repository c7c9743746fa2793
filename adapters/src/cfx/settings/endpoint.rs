//! The gateway as a CFX endpoint: where it listens, and the broker through which it hears.

use std::path::{Path, PathBuf};
use std::time::Duration;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Publish;
use crate::mqtt::Tls;
use crate::settings::Span;

/// The gateway as a CFX endpoint.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Endpoint {
    /// The name that machines refer to it by.
    pub name: String,
    /// The gateway's own CFX handle, such as `Works.Stencilward.Gateway1`. No other endpoint of
    /// the network may have it.
    pub handle: String,
    /// The AMQP 1.0 broker whose queues it reads.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub broker: Option<AtBroker>,
    /// Where it listens itself: for machines that send without a broker, and for questions.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub listen: Option<Listen>,
    /// Largest AMQP message taken, in bytes, as it is sent: mostly compressed. One that is larger
    /// ends its link.
    #[serde(default = "one_mebibyte")]
    #[schemars(range(min = 4096, max = 67_108_864))]
    pub largest_message: usize,
    /// Largest text of a message once it is expanded, in bytes. One that is larger is rejected.
    #[serde(default = "four_mebibytes")]
    #[schemars(range(min = 1024, max = 67_108_864))]
    pub largest_text: usize,
    /// Longest silence of a connection until it counts as lost; signs of life are sent in time.
    #[serde(default = "ten_seconds")]
    pub idle_time_out: Span,
}

/// An AMQP 1.0 broker.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct AtBroker {
    /// Where it listens: host name or IP address, and port, such as `127.0.0.1:5672`. Secured, the
    /// port is usually 5671.
    pub address: String,
    /// What the gateway says there; nothing unless set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub publish: Option<Publish>,
    /// The source addresses to read, as the broker wants them: `/amq/queue/NAME`, `/queue/NAME` or
    /// `/queues/NAME`. Each must be a durable queue that is there before.
    #[serde(default)]
    pub sources: Vec<String>,
    /// True when what machines say while the gateway is away waits in those queues.
    #[serde(default = "yes")]
    pub keeps_messages: bool,
    /// The virtual host, where it is not the broker's usual one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub virtual_host: Option<String>,
    /// Certificates, where the connection is secured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tls: Option<Tls>,
    /// The user name, where the broker asks for one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub user: Option<String>,
    /// The file that holds the password. The password itself never stands in the configuration.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub password_file: Option<String>,
    /// The environment variable that holds the password.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub password_env: Option<String>,
}

/// Where the gateway listens.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Listen {
    /// IP address and port, such as `127.0.0.1:5672`. Other computers reach it only secured.
    pub address: String,
    /// Addresses to which machines may send, beside the gateway's handle.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    pub targets: Vec<String>,
    /// What the gateway says to those who receive from it there; nothing unless set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub publish: Option<Publish>,
    /// Most connections at once; one more is turned away.
    #[serde(default = "two_hundred")]
    #[schemars(range(min = 1, max = 10_000))]
    pub connections: u32,
    /// Our certificate, where the connections are secured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tls: Option<OwnTls>,
    /// The user name that machines must give; without it everybody is let in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub user: Option<String>,
    /// The file that holds the password.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub password_file: Option<String>,
    /// The environment variable that holds the password.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub password_env: Option<String>,
}

/// How the gateway shows who it is. All files are PEM, and read anew for each connection.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct OwnTls {
    /// The gateway's own certificate; a relative path starts at the configuration file's folder.
    #[schemars(with = "String")]
    pub certificate: PathBuf,
    /// The private key of that certificate.
    #[schemars(with = "String")]
    pub key: PathBuf,
    /// Certificates of those who may vouch for machines. With it only machines that show a
    /// certificate are let in.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    #[schemars(with = "Option<String>")]
    pub ca: Option<PathBuf>,
}

impl Listen {
    /// There, in the clear, for everybody.
    #[must_use]
    pub fn plain(address: std::net::SocketAddr) -> Self {
        Self {
            address: address.to_string(),
            targets: Vec::new(),
            publish: None,
            connections: two_hundred(),
            tls: None,
            user: None,
            password_file: None,
            password_env: None,
        }
    }
}

impl Endpoint {
    /// True when it listens there itself.
    #[must_use]
    pub fn listens_at(&self, address: &str) -> bool {
        self.listen.as_ref().is_some_and(|listen| listen.address.trim() == address.trim())
    }

    /// The names under which its ways are owed what is to be said there.
    pub fn debtors(&self) -> impl Iterator<Item = String> {
        let tells = |publish: &&Publish| publish.counters;
        let [broker, listen] = self.publish();
        let broker = broker.filter(tells).map(|_| self.debtor_at_broker());
        broker.into_iter().chain(listen.filter(tells).map(|_| self.debtor_at_listener()))
    }

    /// What is said at its broker, and at its listener.
    fn publish(&self) -> [Option<&Publish>; 2] {
        let broker = self.broker.as_ref().and_then(|broker| broker.publish.as_ref());
        let listen = self.listen.as_ref().and_then(|listen| listen.publish.as_ref());
        [broker, listen]
    }

    /// True when it tells alarms, whichever way.
    pub(in crate::cfx) fn tells_alarms(&self) -> bool {
        self.publish().into_iter().flatten().any(|publish| publish.alarms)
    }

    pub(in crate::cfx) fn debtor_at_broker(&self) -> String {
        format!("cfx/{}/broker", self.name)
    }

    pub(in crate::cfx) fn debtor_at_listener(&self) -> String {
        format!("cfx/{}/listen", self.name)
    }

    /// Where requests reach it; none where it does not listen.
    pub(in crate::cfx) fn uri(&self) -> Option<String> {
        let listen = self.listen.as_ref()?;
        let scheme = if listen.tls.is_some() { "amqps" } else { "amqp" };
        Some(format!("{scheme}://{}/", listen.address))
    }

    /// True when it says something of itself.
    #[must_use]
    pub fn publishes(&self) -> bool {
        self.publish().into_iter().any(|publish| publish.is_some())
    }

    /// Makes relative paths of certificates and keys start at a folder.
    pub fn start_paths_at(&mut self, folder: &Path) {
        if let Some(tls) = self.broker.as_mut().and_then(|broker| broker.tls.as_mut()) {
            tls.start_paths_at(folder);
        }
        if let Some(tls) = self.listen.as_mut().and_then(|listen| listen.tls.as_mut()) {
            tls.certificate = folder.join(&tls.certificate);
            tls.key = folder.join(&tls.key);
            tls.ca = tls.ca.as_ref().map(|ca| folder.join(ca));
        }
    }
}

fn yes() -> bool {
    true
}

fn one_mebibyte() -> usize {
    1 << 20
}

fn four_mebibytes() -> usize {
    4 << 20
}

fn two_hundred() -> u32 {
    200
}

fn ten_seconds() -> Span {
    Span(Duration::from_secs(10))
}
