//! A Mosquitto broker of our own ([`Service`]), which lets everybody in and queues without a limit.

mod hello;

use std::net::SocketAddr;
use std::process::Command;

use hello::hello;

use crate::missing;
use crate::service::{Server, Service, Site};

/// Messages that Mosquitto sends to a client before it has confirmed one, unless told otherwise
/// (mosquitto.conf(5), max_inflight_messages).
pub const USUAL_WINDOW: u32 = 20;

/// What the broker remembers when it is started again.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Persistence {
    /// Nothing.
    Off,
    /// Sessions, queued and retained messages, if it was stopped in order.
    OnStop,
    /// The same, written at each change: slow, but survives being killed.
    EachChange,
}

/// What a broker keeps.
#[derive(Debug, Clone, Copy)]
pub struct Broker {
    persistence: Persistence,
    queue: u32,
    window: u32,
}

/// A running broker.
pub type Mosquitto = Service<Broker>;

impl Broker {
    /// One without a limit to its queues.
    #[must_use]
    pub fn new(persistence: Persistence) -> Self {
        Self { persistence, queue: 0, window: USUAL_WINDOW }
    }
}

impl Mosquitto {
    /// Starts a broker and waits until it answers.
    ///
    /// # Panics
    /// As for [`Service::run`].
    pub async fn start(persistence: Persistence) -> Option<Self> {
        Self::run(Broker::new(persistence)).await
    }

    /// The same with room for so many messages in each client's queue; 0 is without a limit. What
    /// does not fit is dropped without a word.
    ///
    /// # Panics
    /// Like [`Self::start`].
    pub async fn with_queue(persistence: Persistence, most: u32) -> Option<Self> {
        Self::run(Broker { queue: most, ..Broker::new(persistence) }).await
    }

    /// The same, without a limit to the queues, and with so many messages sent to a client before
    /// it has confirmed one.
    ///
    /// # Panics
    /// Like [`Self::start`].
    pub async fn with_window(persistence: Persistence, window: u32) -> Option<Self> {
        Self::run(Broker { window, ..Broker::new(persistence) }).await
    }
}

impl Server for Broker {
    const NAME: &'static str = "mosquitto";
    const IMAGE: &'static str = "eclipse-mosquitto:2";
    const PORTS: &'static [u16] = &[1883];
    const CONFIGURATION: &'static str = "/mosquitto/config";
    const DATA: &'static str = "/mosquitto/data";
    const LISTENS: &'static str = " running";

    fn files(&self, site: &Site) -> Vec<(&'static str, String)> {
        let Self { queue, window, persistence } = self;
        let folder = site.data.display();
        let kept = match persistence {
            Persistence::Off => "persistence false".to_owned(),
            Persistence::OnStop => format!("persistence true\npersistence_location {folder}/"),
            Persistence::EachChange => format!(
                "persistence true\npersistence_location {folder}/\n\
                 autosave_on_changes true\nautosave_interval 1"
            ),
        };
        let text = format!(
            "listener {} {}\nallow_anonymous true\nuser root\nset_tcp_nodelay true\n\
             max_queued_messages {queue}\nmax_inflight_messages {window}\nlog_dest stderr\n{kept}\n",
            site.ports[0], site.address
        );
        vec![("mosquitto.conf", text)]
    }

    fn command(&self, site: &Site) -> Vec<String> {
        let mut command = vec!["/usr/sbin/mosquitto".to_owned()];
        command.extend(arguments(site));
        command
    }

    fn programs(&self, site: &Site) -> Option<Vec<Command>> {
        let mut command = Command::new(missing::program("mosquitto", "Debian package mosquitto")?);
        command.args(arguments(site));
        Some(vec![command])
    }

    async fn hello(&self, address: SocketAddr) -> Result<(), String> {
        hello(address).await
    }
}

fn arguments(site: &Site) -> [String; 2] {
    ["-c".to_owned(), site.configuration.join("mosquitto.conf").display().to_string()]
}
