//! Who may come in over HTTP, and how what is said there is kept secret.

use std::net::IpAddr;
use std::path::PathBuf;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};
use stencilward_adapters::settings::Span;

/// How people sign in. With it, nobody does anything over HTTP without.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct SignInSettings {
    /// Addresses of shared stations, such as `10.0.3.21` or `10.0.3.0/24`: a PIN is enough there.
    pub stations: Vec<String>,
    /// At a shared station, signed out after nothing was done for so long: 5min unless set.
    pub station_idle: Option<Span>,
    /// At a shared station, signed out after so long in any case: 1h unless set.
    pub station_longest: Option<Span>,
    /// Elsewhere, signed out after nothing was done for so long: 30min unless set.
    pub idle: Option<Span>,
    /// Elsewhere, signed out after so long in any case: 12h unless set.
    pub longest: Option<Span>,
    /// What a second person confirms, too.
    pub second_person: Vec<SecondPersonWord>,
}

/// What may need a second person.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, JsonSchema,
)]
#[serde(rename_all = "kebab-case")]
pub enum SecondPersonWord {
    /// Allowing a worn stencil more strokes.
    Concession,
    /// Taking a stencil out of use for good.
    Retire,
}

/// The gateway's own certificate: HTTP is spoken over TLS only.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct TlsSettings {
    /// A PEM file: its certificate, then those that vouch for it. A relative path starts at the
    /// configuration file's folder.
    #[schemars(with = "String")]
    pub certificate: PathBuf,
    /// A PEM file: the certificate's key, without a password.
    #[schemars(with = "String")]
    pub key: PathBuf,
}

impl SignInSettings {
    /// What is wrong with it: the key below it, and the fault.
    pub(crate) fn check(&self) -> Vec<(String, String)> {
        let mut found = Vec::new();
        for (index, station) in self.stations.iter().enumerate() {
            if !is_network(station) {
                let wrong = format!(
                    "{station:?} is no address; write one such as 10.0.3.21, or those that begin \
                     alike such as 10.0.3.0/24"
                );
                found.push((format!("stations[{index}]"), wrong));
            }
        }
        let spans = [
            ("station-idle", self.station_idle),
            ("station-longest", self.station_longest),
            ("idle", self.idle),
            ("longest", self.longest),
        ];
        for (key, span) in spans {
            if span.is_some_and(|span| span.0.as_secs() < 30) {
                let wrong = "nobody could do anything in that time: write at least 30s";
                found.push((key.to_owned(), wrong.to_owned()));
            }
        }
        found
    }
}

fn is_network(text: &str) -> bool {
    let (address, length) = text.split_once('/').map_or((text, None), |(a, l)| (a, Some(l)));
    address.parse::<IpAddr>().is_ok_and(|address| {
        let longest = if address.is_ipv4() { 32 } else { 128 };
        length.is_none_or(|length| length.parse::<u32>().is_ok_and(|length| length <= longest))
    })
}
