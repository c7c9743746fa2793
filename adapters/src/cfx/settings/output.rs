//! Interlocks: answered when the machine asks, or asked of its own listener.

use std::path::Path;
use std::time::Duration;

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use crate::mqtt::Tls;
use crate::settings::{Drive, Span};

/// An interlock that the machine asks for, or is asked for.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Output {
    /// Its name, as logs and metrics show it.
    pub name: String,
    /// What it follows: `print-permit`.
    pub drive: Drive,
    /// How it is carried out.
    pub by: By,
    /// The lane that is locked; all of them unless set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub lane: Option<u32>,
    /// The stage that is locked; all of them unless set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub stage: Option<Stage>,
}

/// A stage of a machine, as the machine itself names it.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Stage {
    /// Its `StageName`.
    pub name: String,
    /// Its `StageSequence`, counted from 1.
    #[serde(default = "first")]
    #[schemars(range(min = 1, max = 1000))]
    pub sequence: u32,
}

/// How an interlock is carried out.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case")]
pub enum By {
    /// The machine asks before it lets in a panel (`ValidateUnitsRequest`), and is answered
    /// `Passed` or `Failed`.
    UnitValidation,
    /// The machine is told to lock (`LockStationRequest`) while it must not go on, and to unlock
    /// (`UnlockStationRequest`) while it may. It needs `requests`.
    LockStation,
}

/// Where a machine listens for requests.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Requests {
    /// Host name or IP address, and port, such as `192.0.2.10:5672`. Secured, the port is usually
    /// 5671.
    pub address: String,
    /// The address there that takes requests (`RequestTargetAddress`); the machine's handle unless
    /// set.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub target: Option<String>,
    /// Certificates, where the connection is secured.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub tls: Option<Tls>,
    /// The user name, where the machine asks for one.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub user: Option<String>,
    /// The file that holds the password. The password itself never stands in the configuration.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub password_file: Option<String>,
    /// The environment variable that holds the password.
    #[serde(default, skip_serializing_if = "Option::is_none")]
    pub password_env: Option<String>,
    /// How long the machine has for its answer, until it is asked again; its answer to a lock
    /// comes once it has stopped.
    #[serde(default = "half_a_minute")]
    pub within: Span,
}

impl Requests {
    /// There, in the clear, for everybody.
    #[must_use]
    pub fn plain(address: std::net::SocketAddr) -> Self {
        Self {
            address: address.to_string(),
            target: None,
            tls: None,
            user: None,
            password_file: None,
            password_env: None,
            within: half_a_minute(),
        }
    }

    pub(super) fn start_paths_at(&mut self, folder: &Path) {
        if let Some(tls) = &mut self.tls {
            tls.start_paths_at(folder);
        }
    }
}

fn first() -> u32 {
    1
}

/// What the SDK waits (`CFX/Transport/AmqpCFXEndpoint.cs`).
fn half_a_minute() -> Span {
    Span(Duration::from_secs(30))
}
