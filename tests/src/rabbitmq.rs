//! A RabbitMQ broker of our own with its AMQP 1.0 plugin: the installed program, with a folder,
//! ports and a port mapper of its own.
//!
//! It declares one durable queue, `stencilward`, to which the topic exchange `cfx` gives all that
//! is sent there, and lets in one user.

use std::io::{Read as _, Write as _};
use std::net::TcpStream;
use std::path::{Path, PathBuf};
use std::process::Command;
use std::time::Duration;

use tempfile::TempDir;

use crate::certificates::Shown;
use crate::child::Child;
use crate::free_port::free_port;
use crate::missing;
use crate::wait::eventually;

/// How long a broker may take until it answers: some twelve seconds where nothing else runs.
const PATIENCE: Duration = Duration::from_secs(120);

/// Where Debian keeps the program itself; `rabbitmq-server` on the path wants to become another
/// user first.
const LIBRARY: &str = "/usr/lib/rabbitmq/lib";

/// The user that is let in, and its password.
pub const USER: (&str, &str) = ("stencilward", "invented");

/// The AMQP 1.0 address of the queue.
pub const QUEUE: &str = "/amq/queue/stencilward";

/// The AMQP 1.0 address of a queue that takes what is sent to `/exchange/cfx/told`.
pub const TOLD: &str = "/amq/queue/told";

/// What is there from the beginning. The hash is of the password above (salted SHA-256).
const DEFINITIONS: &str = r##"{
  "users": [{ "name": "stencilward", "tags": "administrator",
    "password_hash": "AQIDBNKAvQkM3Tf1ikHfyeLAotVnZIE/snxmmMb9uRqRkwSA",
    "hashing_algorithm": "rabbit_password_hashing_sha256" }],
  "vhosts": [{ "name": "/" }],
  "permissions": [{ "user": "stencilward", "vhost": "/", "configure": ".*", "write": ".*",
    "read": ".*" }],
  "topic_permissions": [], "parameters": [], "global_parameters": [], "policies": [],
  "queues": [{ "name": "stencilward", "vhost": "/", "durable": true, "auto_delete": false,
    "arguments": {} }, { "name": "told", "vhost": "/", "durable": true, "auto_delete": false,
    "arguments": {} }],
  "exchanges": [{ "name": "cfx", "vhost": "/", "type": "topic", "durable": true,
    "auto_delete": false, "internal": false, "arguments": {} }],
  "bindings": [{ "source": "cfx", "vhost": "/", "destination": "stencilward",
    "destination_type": "queue", "routing_key": "#", "arguments": {} }, { "source": "cfx",
    "vhost": "/", "destination": "told", "destination_type": "queue", "routing_key": "told",
    "arguments": {} }]
}"##;

/// A running broker. Dropping it ends it and removes what it kept.
#[derive(Debug)]
pub struct RabbitMq {
    server: PathBuf,
    port: u16,
    secured: u16,
    mapper_port: u16,
    distribution: u16,
    // Before the folder, so that both have ended when the folder is removed.
    broker: Child,
    _mapper: Child,
    folder: TempDir,
}

impl RabbitMq {
    /// Starts a broker and waits until it answers; none, said aloud, when it is not installed.
    ///
    /// # Panics
    /// When it does not answer in time, or with `CI=true` when it cannot be had.
    pub async fn start() -> Option<Self> {
        Self::start_with("").await
    }

    /// The same, and it also listens secured, at `secured_port`, where it shows this certificate.
    ///
    /// # Panics
    /// As for [`Self::start`].
    pub async fn start_secured(shown: &Shown) -> Option<Self> {
        let settings = format!(
            "listeners.ssl.1 = 127.0.0.1:$SECURED\nssl_options.certfile = {}\n\
             ssl_options.keyfile = {}\nssl_options.verify = verify_none\n",
            shown.certificate.display(),
            shown.key.display()
        );
        Self::start_with(&settings).await
    }

    async fn start_with(settings: &str) -> Option<Self> {
        missing::program("rabbitmq-server", "Debian package rabbitmq-server")?;
        let mapper = missing::program("epmd", "Debian package erlang-base")?;
        let Some(server) = server() else {
            missing::skip(&format!("no rabbitmq-server below {LIBRARY}"));
            return None;
        };
        let folder = tempfile::tempdir().unwrap_or_else(|why| panic!("no folder: {why}"));
        let (port, mapper_port, distribution) = (free_port(), free_port(), free_port());
        let secured = free_port();
        write(folder.path(), port, &settings.replace("$SECURED", &secured.to_string()));
        let mut command = Command::new(mapper);
        command.args(["-address", "127.0.0.1", "-port", &mapper_port.to_string()]);
        let mapper = Child::start(&command);
        let ports = (mapper_port, distribution);
        let broker = run(&server, folder.path(), ports);
        let running = Self {
            server,
            port,
            secured,
            mapper_port,
            distribution,
            broker,
            _mapper: mapper,
            folder,
        };
        running.answers().await;
        Some(running)
    }

    /// Where it listens for AMQP, on loopback.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.port
    }

    /// Where it listens for AMQP over TLS, on loopback, if it was started so.
    #[must_use]
    pub fn secured_port(&self) -> u16 {
        self.secured
    }

    /// Stops it in order.
    pub fn stop(&mut self) {
        self.broker.stop();
    }

    /// Starts it again on the same port, with what it kept, and waits until it answers.
    ///
    /// # Panics
    /// When it does not answer in time.
    pub async fn again(&mut self) {
        let ports = (self.mapper_port, self.distribution);
        self.broker = run(&self.server, self.folder.path(), ports);
        self.answers().await;
    }

    async fn answers(&self) {
        eventually("RabbitMQ answers", PATIENCE, async || greets(self.port)).await;
    }
}

/// The newest program of Debian's.
fn server() -> Option<PathBuf> {
    let versions = std::fs::read_dir(LIBRARY).ok()?;
    let mut programs: Vec<PathBuf> =
        versions.flatten().map(|entry| entry.path().join("sbin/rabbitmq-server")).collect();
    programs.sort();
    programs.into_iter().rfind(|program| program.is_file())
}

fn write(folder: &Path, port: u16, more: &str) {
    let settings = format!(
        "listeners.tcp.1 = 127.0.0.1:{port}\nload_definitions = {}\n\
         disk_free_limit.absolute = 1MB\nlog.console = true\nlog.file = false\n{more}",
        folder.join("definitions.json").display()
    );
    for (name, text) in [
        ("definitions.json", DEFINITIONS),
        ("rabbitmq.conf", &settings),
        ("enabled_plugins", "[rabbitmq_amqp1_0].\n"),
    ] {
        let file = folder.join(name);
        std::fs::write(&file, text).unwrap_or_else(|why| panic!("{}: {why}", file.display()));
    }
}

fn run(server: &Path, folder: &Path, (mapper, distribution): (u16, u16)) -> Child {
    let mut command = Command::new(server);
    let only_here = "-kernel inet_dist_use_interface {127,0,0,1}";
    command
        .env("HOME", folder)
        .env("ERL_EPMD_ADDRESS", "127.0.0.1")
        .env("ERL_EPMD_PORT", mapper.to_string())
        .env("RABBITMQ_DIST_PORT", distribution.to_string())
        .env("RABBITMQ_NODENAME", format!("stencilward-{distribution}@localhost"))
        .env("RABBITMQ_CONFIG_FILE", folder.join("rabbitmq.conf"))
        .env("RABBITMQ_CONF_ENV_FILE", folder.join("none"))
        .env("RABBITMQ_ADVANCED_CONFIG_FILE", folder.join("none"))
        .env("RABBITMQ_ENABLED_PLUGINS_FILE", folder.join("enabled_plugins"))
        .env("RABBITMQ_MNESIA_BASE", folder.join("kept"))
        .env("RABBITMQ_LOG_BASE", folder.join("log"))
        .env("RABBITMQ_GENERATED_CONFIG_DIR", folder.join("config"))
        .env("RABBITMQ_SERVER_ADDITIONAL_ERL_ARGS", only_here);
    Child::start(&command)
}

/// True when it answers the header of AMQP with SASL (AMQP 1.0, 5.3.1).
fn greets(port: u16) -> Result<(), String> {
    let wrong = |why: std::io::Error| why.to_string();
    let mut stream = TcpStream::connect(("127.0.0.1", port)).map_err(wrong)?;
    stream.set_read_timeout(Some(Duration::from_secs(2))).map_err(wrong)?;
    stream.write_all(b"AMQP\x03\x01\x00\x00").map_err(wrong)?;
    let mut header = [0; 8];
    stream.read_exact(&mut header).map_err(wrong)?;
    if header == *b"AMQP\x03\x01\x00\x00" { Ok(()) } else { Err(format!("{header:?}")) }
}
