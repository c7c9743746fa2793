//! The configuration as its author writes it.

mod access;
mod alarms;
mod archive;
mod machines;
mod metrics;
mod policy;
mod stencils;

use std::path::PathBuf;

use jiff::tz::TimeZone;
use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_adapters::{cfx, mqtt, sparkplug};

pub use access::{SecondPersonWord, SignInSettings, TlsSettings};
pub use alarms::{AlarmSettings, AlarmsSettings, PriorityWord};
pub use archive::ArchiveSettings;
pub use machines::{
    BasisWord, CounterSettings, CountsWord, Kind, MachineSettings, StrokesSettings,
};
pub use metrics::MetricsSettings;
pub use policy::{
    CostSettings, CountingSettings, OrdersSettings, PolicySettings, PrintingSettings,
    TensionSettings, ToleranceSettings, WashSettings, WearSettings,
};
pub use stencils::{BoardSide, ProductSettings, StencilSettings};

/// A whole plant: its policy, its stencils, and the machines the gateway talks to.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Configuration {
    /// The plant's name, as logs and answers show it.
    pub site: String,
    /// Where pages, metrics and API are served: an address and a port. Beyond loopback it needs
    /// `tls`, and people who sign in.
    #[serde(default = "default_listen")]
    pub listen: String,
    /// The certificate with which it is served; without it plain, and on loopback only.
    #[serde(default)]
    pub tls: Option<TlsSettings>,
    /// How people sign in. Beyond loopback they do in any case.
    #[serde(default)]
    pub sign_in: Option<SignInSettings>,
    /// The ledger's file; a relative path starts at the configuration file's folder.
    #[serde(default = "default_ledger")]
    #[schemars(with = "String")]
    pub ledger: PathBuf,
    /// When old events move out of the ledger's file; unless set, they stay in it.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub archive: Option<ArchiveSettings>,
    /// The zone in which pages show times, by its IANA name; default: the computer's own.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub zone: Option<String>,
    /// The language of pages for whoever's browser wishes for none of these.
    #[serde(default)]
    pub language: LanguageWord,
    /// What Prometheus is shown.
    #[serde(default)]
    pub metrics: MetricsSettings,
    /// How much of what is allowed.
    #[serde(default)]
    pub policy: PolicySettings,
    /// Products that differ from the plant's policy.
    #[serde(default)]
    pub products: Vec<ProductSettings>,
    /// The stencils the plant owns.
    #[serde(default)]
    pub stencils: Vec<StencilSettings>,
    /// MQTT brokers that machines speak through.
    #[serde(default)]
    pub brokers: Vec<mqtt::Broker>,
    /// Who the gateway is to Sparkplug edge nodes and hosts, at brokers where that is not as usual.
    #[serde(default)]
    pub sparkplug: Vec<sparkplug::AtBroker>,
    /// The gateway as an endpoint of IPC-CFX networks.
    #[serde(default)]
    pub cfx: Vec<cfx::Endpoint>,
    /// The machines, each with the protocol it speaks.
    #[serde(default)]
    pub machines: Vec<MachineSettings>,
    /// SHA-256 of what it was loaded from, in hexadecimal; empty when it was loaded from no file.
    #[serde(skip)]
    pub digest: String,
}

/// A language in which the pages are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub enum LanguageWord {
    /// British English.
    #[default]
    #[serde(rename = "en")]
    English,
    /// German.
    #[serde(rename = "de")]
    German,
}

impl Configuration {
    /// The zone in which pages show times: the one that is set, else the computer's own, else UTC.
    #[must_use]
    pub fn time_zone(&self) -> TimeZone {
        let set = self.zone.as_ref().and_then(|zone| TimeZone::get(zone).ok());
        set.unwrap_or_else(|| TimeZone::try_system().unwrap_or(TimeZone::UTC))
    }

    /// Nothing set.
    pub(crate) fn empty() -> Self {
        Self {
            site: String::new(),
            listen: default_listen(),
            tls: None,
            sign_in: None,
            ledger: default_ledger(),
            archive: None,
            zone: None,
            language: LanguageWord::default(),
            metrics: MetricsSettings::default(),
            policy: PolicySettings::default(),
            products: Vec::new(),
            stencils: Vec::new(),
            brokers: Vec::new(),
            sparkplug: Vec::new(),
            cfx: Vec::new(),
            machines: Vec::new(),
            digest: String::new(),
        }
    }
}

fn default_listen() -> String {
    "127.0.0.1:9464".to_owned()
}

fn default_ledger() -> PathBuf {
    PathBuf::from("stencilward.db")
}
