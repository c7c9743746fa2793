//! A RabbitMQ broker of our own with AMQP 1.0, as a process from the Debian package.
//!
//! It listens on one port of loopback for all its life, also after [`RabbitMq::again`], and has
//! the durable queues that it was started with, bound to nothing: a message sent to
//! `/amq/queue/NAME` is in queue NAME.

mod greeting;

use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use serde_json::json;
use tempfile::TempDir;

use crate::child::Child;
use crate::free_port::free_port;
use crate::missing;
use crate::wait::eventually;

/// Who may do everything at the broker.
pub const USER: &str = "plant";
/// The password of [`USER`]: invented, like all else here.
pub const PASSWORD: &str = "invented";

/// How long the broker may take until it answers, beside others that are at work.
const PATIENCE: Duration = Duration::from_secs(90);

/// The program itself: the one on the search path changes to a user of its own first, who could
/// not write to our folder.
const PROGRAM: &str = "/usr/lib/rabbitmq/bin/rabbitmq-server";

/// A running broker. Dropping it ends it and removes what it kept.
#[derive(Debug)]
pub struct RabbitMq {
    // Before the folder, so that the broker has ended when the folder is removed.
    broker: Child,
    _names: Child,
    port: u16,
    distribution: [u16; 2],
    folder: TempDir,
}

impl RabbitMq {
    /// Starts a broker with these durable queues, and waits until it answers; none, said aloud,
    /// when the program is missing.
    ///
    /// # Panics
    /// When it does not answer in time, or with `CI=true` when it cannot be had.
    pub async fn start(queues: &[&str]) -> Option<Self> {
        missing::program("rabbitmq-server", "Debian package rabbitmq-server")?;
        // The name server of Erlang's nodes: a broker would start one that outlives it.
        let name_server = missing::program("epmd", "Debian package erlang-base")?;
        let (port, distribution) = (free_port(), [free_port(), free_port()]);
        let folder = folder(port, queues).unwrap_or_else(|why| panic!("no folder: {why}"));
        let mut command = Command::new(name_server);
        command.args(["-port", &distribution[1].to_string(), "-address", "127.0.0.1"]);
        let names = Child::start(&command);
        let broker = run(folder.path(), port, distribution);
        let broker = Self { broker, _names: names, port, distribution, folder };
        broker.answers().await;
        Some(broker)
    }

    /// Where it listens.
    #[must_use]
    pub fn host(&self) -> &str {
        "127.0.0.1"
    }

    /// Where it listens.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Stops it in order.
    pub fn stop(&mut self) {
        self.broker.stop();
    }

    /// Kills it without a warning.
    pub fn kill(&mut self) {
        self.broker.kill();
    }

    /// Starts it again on the same port, with what it kept, and waits until it answers.
    ///
    /// # Panics
    /// When it does not answer in time.
    pub async fn again(&mut self) {
        self.broker = run(self.folder.path(), self.port, self.distribution);
        self.answers().await;
    }

    async fn answers(&self) {
        eventually("the broker answers", PATIENCE, async || {
            let greeted = greeting::greet(self.host(), self.port).await;
            greeted.map_err(|why| format!("{why}\n{}", self.broker.transcript()))
        })
        .await;
    }
}

fn run(folder: &Path, port: u16, [distribution, names]: [u16; 2]) -> Child {
    let mut command = Command::new(PROGRAM);
    let within = |name: &str| folder.join(name);
    let files: [(&str, PathBuf); 5] = [
        ("HOME", folder.to_owned()),
        ("RABBITMQ_CONFIG_FILE", within("rabbitmq.conf")),
        ("RABBITMQ_ENABLED_PLUGINS_FILE", within("plugins")),
        ("RABBITMQ_MNESIA_BASE", within("kept")),
        ("RABBITMQ_LOG_BASE", within("log")),
    ];
    command
        .envs(files)
        .env("RABBITMQ_CONF_ENV_FILE", "/dev/null")
        .env("RABBITMQ_NODENAME", format!("test-{port}@localhost"))
        .env("RABBITMQ_DIST_PORT", distribution.to_string())
        .env("ERL_EPMD_PORT", names.to_string())
        .env("ERL_EPMD_ADDRESS", "127.0.0.1")
        .env(
            "RABBITMQ_SERVER_ADDITIONAL_ERL_ARGS",
            "-kernel inet_dist_use_interface {127,0,0,1} -start_epmd false",
        );
    Child::start(&command)
}

fn folder(port: u16, queues: &[&str]) -> std::io::Result<TempDir> {
    let folder = tempfile::tempdir()?;
    let within = |name: &str| folder.path().join(name);
    let durable = |name: &&str| json!({ "name": name, "vhost": "/", "durable": true, "auto_delete": false, "arguments": {} });
    let queues: Vec<_> = queues.iter().map(durable).collect();
    let definitions = json!({
        "users": [{ "name": USER, "password": PASSWORD, "tags": "administrator" }],
        "vhosts": [{ "name": "/" }],
        "permissions":
            [{ "user": USER, "vhost": "/", "configure": ".*", "write": ".*", "read": ".*" }],
        "queues": queues,
        "exchanges": [],
        "bindings": [],
    });
    std::fs::write(within("definitions.json"), definitions.to_string())?;
    std::fs::write(within("plugins"), "[rabbitmq_amqp1_0].")?;
    let settings = format!(
        "listeners.tcp.1 = 127.0.0.1:{port}\nload_definitions = {}\nlog.console = true\n\
         log.console.level = error\nlog.file = false\n",
        within("definitions.json").display()
    );
    std::fs::write(within("rabbitmq.conf"), settings)?;
    Ok(folder)
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn is_killed_and_comes_back_on_the_same_port() {
        let Some(mut broker) = RabbitMq::start(&["stencils"]).await else { return };
        broker.kill();
        let silent = greeting::greet(broker.host(), broker.port()).await;
        assert!(silent.is_err(), "a killed broker answered");
        broker.again().await;
        broker.stop();
        let silent = greeting::greet(broker.host(), broker.port()).await;
        assert!(silent.is_err(), "a stopped broker answered");
    }
}
