//! Debian's RabbitMQ with a port mapper of its own, all of it on loopback.

use std::path::PathBuf;
use std::process::Command;

use crate::free_port::free_port;
use crate::missing;
use crate::service::Site;

/// Where Debian keeps the program itself; `rabbitmq-server` on the path wants to become another
/// user first.
const LIBRARY: &str = "/usr/lib/rabbitmq/lib";

/// The port mapper, and the server that asks it.
pub(super) fn programs(site: &Site) -> Option<Vec<Command>> {
    missing::program("rabbitmq-server", "Debian package rabbitmq-server")?;
    let mut mapper = Command::new(missing::program("epmd", "Debian package erlang-base")?);
    let Some(server) = newest() else {
        missing::skip(&format!("no rabbitmq-server below {LIBRARY}"));
        return None;
    };
    let (mapped, distribution) = (free_port().to_string(), free_port().to_string());
    mapper.args(["-address", "127.0.0.1", "-port", &mapped]);
    let none = site.configuration.join("none");
    let mut command = Command::new(server);
    command
        .env("HOME", &site.data)
        .env("ERL_EPMD_ADDRESS", "127.0.0.1")
        .env("ERL_EPMD_PORT", mapped)
        .env("RABBITMQ_NODENAME", format!("stencilward-{distribution}@localhost"))
        .env("RABBITMQ_DIST_PORT", distribution)
        .env("RABBITMQ_CONFIG_FILE", site.configuration.join("rabbitmq.conf"))
        .env("RABBITMQ_CONF_ENV_FILE", &none)
        .env("RABBITMQ_ADVANCED_CONFIG_FILE", &none)
        .env("RABBITMQ_ENABLED_PLUGINS_FILE", site.configuration.join("enabled_plugins"))
        .env("RABBITMQ_MNESIA_BASE", site.data.join("kept"))
        .env("RABBITMQ_LOG_BASE", site.data.join("log"))
        .env("RABBITMQ_GENERATED_CONFIG_DIR", site.data.join("config"))
        .env("RABBITMQ_SERVER_ADDITIONAL_ERL_ARGS", "-kernel inet_dist_use_interface {127,0,0,1}");
    Some(vec![mapper, command])
}

/// The newest program of Debian's.
fn newest() -> Option<PathBuf> {
    let versions = std::fs::read_dir(LIBRARY).ok()?;
    let mut programs: Vec<PathBuf> =
        versions.flatten().map(|entry| entry.path().join("sbin/rabbitmq-server")).collect();
    programs.sort();
    programs.into_iter().rfind(|program| program.is_file())
}
