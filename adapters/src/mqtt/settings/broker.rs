//! Brokers: where they are, how they are spoken to, and how they know us.

use std::path::{Path, PathBuf};
use std::time::Duration;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::Publish;
use crate::settings::Span;

/// An MQTT broker that machines speak through.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Broker {
    /// The name that machines refer to it by.
    pub name: String,
    /// Where it listens: host name or IP address, and port, such as `127.0.0.1:1883`. Secured,
    /// the port is usually 8883.
    pub address: String,
    /// The version of MQTT to speak.
    #[serde(default)]
    pub version: Version,
    /// The client id; `-in` and `-out` are added for the two connections. No other client of
    /// this broker may have it, and it must stay the same: the broker keeps the messages that
    /// came while the gateway was away under it.
    pub client: String,
    /// Longest silence on a connection before a sign of life is asked for.
    #[serde(default = "ten_seconds")]
    pub keep_alive: Span,
    /// Largest message taken, in bytes. One that is larger is told with its topic, acknowledged
    /// and thrown away; with `version: "5.0"` the broker is told the limit, too, and keeps such
    /// messages from us without a word.
    #[serde(default = "quarter_mebibyte")]
    #[schemars(range(min = 1024, max = 67_108_864))]
    pub largest_message: usize,
    /// How long the broker keeps what comes while the gateway is away; only with
    /// `version: "5.0"`. Before, a broker keeps it for as long as its own settings say.
    #[serde(default = "thirty_days")]
    pub session_expiry: Span,
    /// Most messages the broker may send before one is acknowledged; only with `version: "5.0"`.
    #[serde(default = "one_thousand")]
    #[schemars(range(min = 1))]
    pub receive_maximum: u16,
    /// Certificates, where the connection is secured.
    #[serde(default)]
    pub tls: Option<Tls>,
    /// The user name, where the broker asks for one.
    #[serde(default)]
    pub user: Option<String>,
    /// The file that holds the password. The password itself never stands in the configuration.
    #[serde(default)]
    pub password_file: Option<String>,
    /// The environment variable that holds the password.
    #[serde(default)]
    pub password_env: Option<String>,
    /// What the gateway publishes there for everybody: the condition of stencils and machines,
    /// and its decisions.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub publish: Option<Publish>,
}

/// A version of MQTT.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
pub enum Version {
    /// Of 2014: what every broker speaks.
    #[default]
    #[serde(rename = "3.1.1")]
    Three,
    /// Of 2019: the broker gives reasons, and takes limits.
    #[serde(rename = "5.0")]
    Five,
}

/// A secured connection to a broker, or to a machine that listens as one. All files are PEM, and read anew for each connection.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Tls {
    /// Certificates of those who may vouch for the other side; a relative path starts at
    /// the configuration file's folder.
    #[schemars(with = "String")]
    pub ca: PathBuf,
    /// The gateway's own certificate, where the other side asks for one.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    pub certificate: Option<PathBuf>,
    /// The private key of that certificate.
    #[serde(default)]
    #[schemars(with = "Option<String>")]
    pub key: Option<PathBuf>,
    /// The name or IP address in the other side's certificate; the host of the address unless set.
    #[serde(default)]
    pub server_name: Option<String>,
}

impl Tls {
    /// Makes relative paths start at a folder.
    pub(crate) fn start_paths_at(&mut self, folder: &Path) {
        self.ca = folder.join(&self.ca);
        for path in [&mut self.certificate, &mut self.key].into_iter().flatten() {
            *path = folder.join(&*path);
        }
    }
}

impl Broker {
    /// A broker that listens there, lets everybody in and is spoken to in the usual way.
    #[must_use]
    pub fn plain(address: std::net::SocketAddr) -> Self {
        Self {
            name: "broker".to_owned(),
            address: address.to_string(),
            version: Version::default(),
            client: "client".to_owned(),
            keep_alive: ten_seconds(),
            largest_message: 1 << 20,
            session_expiry: thirty_days(),
            receive_maximum: one_thousand(),
            tls: None,
            user: None,
            password_file: None,
            password_env: None,
            publish: None,
        }
    }

    /// Makes relative paths of certificates and keys start at a folder.
    pub fn start_paths_at(&mut self, folder: &Path) {
        if let Some(tls) = &mut self.tls {
            tls.start_paths_at(folder);
        }
    }
}

fn ten_seconds() -> Span {
    Span(Duration::from_secs(10))
}

fn thirty_days() -> Span {
    Span(Duration::from_secs(30 * 24 * 3_600))
}

fn quarter_mebibyte() -> usize {
    256 * 1024
}

fn one_thousand() -> u16 {
    1_000
}
