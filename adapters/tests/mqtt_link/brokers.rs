//! Brokers: one in this process, and Mosquitto as a process of its own.

use std::net::{SocketAddr, TcpListener};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use std::sync::atomic::{AtomicU32, Ordering};
use std::time::Duration;

use mqtt5::broker::config::{StorageBackend, StorageConfig};
use mqtt5::broker::{BrokerConfig, BrokerShutdownHandle, MqttBroker};
use tokio::task::JoinHandle;

use crate::gateway::{within, within_sync};

/// A broker in this process that keeps sessions in memory. It ends when dropped.
pub(crate) struct Embedded {
    pub(crate) address: SocketAddr,
    stop: BrokerShutdownHandle,
    running: JoinHandle<()>,
}

impl Embedded {
    pub(crate) async fn start() -> Self {
        Self::at(SocketAddr::from(([127, 0, 0, 1], 0))).await
    }

    pub(crate) async fn at(address: SocketAddr) -> Self {
        let mut settings = BrokerConfig::default().with_bind_address(address);
        settings.storage_config = StorageConfig {
            backend: StorageBackend::Memory,
            max_queued_messages_per_client: 100_000,
            ..StorageConfig::default()
        };
        settings.auth_config.allow_anonymous = true;
        settings.sys_topics_enabled = false;
        let mut broker = within("the port", async {
            loop {
                match MqttBroker::with_config(settings.clone()).await {
                    Ok(broker) => break broker,
                    Err(_) => tokio::time::sleep(Duration::from_millis(5)).await,
                }
            }
        })
        .await;
        let address = broker.local_addr().unwrap();
        let stop = broker.shutdown_handle();
        let running = tokio::spawn(async move {
            let _ = broker.run().await;
        });
        Self { address, stop, running }
    }

    /// Ends it and waits until it has ended.
    pub(crate) async fn end(mut self) -> SocketAddr {
        self.stop.shutdown();
        within("the broker's end", &mut self.running).await.unwrap();
        self.address
    }
}

impl Drop for Embedded {
    fn drop(&mut self) {
        self.stop.shutdown();
        self.running.abort();
    }
}

/// A Mosquitto of its own, with a folder of its own. It is killed when dropped.
pub(crate) struct Mosquitto {
    pub(crate) address: SocketAddr,
    folder: PathBuf,
    child: Child,
}

impl Mosquitto {
    /// None, with a line to standard error, where it is not installed.
    pub(crate) fn start(test: &str, persistence: bool) -> Option<Self> {
        Self::configured(test, persistence, "allow_anonymous true\n")
    }

    /// The same with these lines for its one listener.
    pub(crate) fn configured(test: &str, persistence: bool, lines: &str) -> Option<Self> {
        static COUNT: AtomicU32 = AtomicU32::new(0);
        let Some(binary) = binary() else {
            assert!(std::env::var("CI").as_deref() != Ok("true"), "mosquitto is not installed");
            eprintln!("SKIPPED {test}: mosquitto is not installed");
            return None;
        };
        let count = COUNT.fetch_add(1, Ordering::Relaxed);
        let folder = format!("stencilward-mqtt-link-{}-{count}", std::process::id());
        let folder = std::env::temp_dir().join(folder);
        std::fs::create_dir_all(&folder).unwrap();
        let free = TcpListener::bind(("127.0.0.1", 0)).unwrap();
        let address = free.local_addr().unwrap();
        drop(free);
        let settings = format!(
            "listener {} 127.0.0.1\nuser root\nmax_queued_messages 0\n\
             persistence {persistence}\npersistence_location {}/\n{lines}",
            address.port(),
            folder.display(),
        );
        std::fs::write(folder.join("mosquitto.conf"), settings).unwrap();
        let child = run(&binary, &folder);
        let broker = Self { address, folder, child };
        broker.wait_until_it_listens();
        Some(broker)
    }

    fn wait_until_it_listens(&self) {
        within_sync("mosquitto to listen", || std::net::TcpStream::connect(self.address).is_ok());
    }

    /// Ends it in order, so that it writes what it keeps.
    pub(crate) fn end(&mut self) {
        let pid = self.child.id().to_string();
        assert!(Command::new("kill").args(["-TERM", &pid]).status().unwrap().success());
        self.child.wait().unwrap();
    }

    /// Starts it again, in the same place.
    pub(crate) fn again(&mut self) {
        self.child = run(&binary().unwrap(), &self.folder);
        self.wait_until_it_listens();
    }
}

impl Drop for Mosquitto {
    fn drop(&mut self) {
        let _ = self.child.kill();
        let _ = self.child.wait();
        let _ = std::fs::remove_dir_all(&self.folder);
    }
}

fn binary() -> Option<PathBuf> {
    let path = std::env::var_os("PATH").unwrap_or_default();
    let folders = std::env::split_paths(&path).chain([PathBuf::from("/usr/sbin")]);
    folders.map(|folder| folder.join("mosquitto")).find(|file| file.is_file())
}

fn run(binary: &Path, folder: &Path) -> Child {
    Command::new(binary)
        .arg("-c")
        .arg(folder.join("mosquitto.conf"))
        .stdout(Stdio::null())
        .stderr(Stdio::null())
        .spawn()
        .unwrap()
}
