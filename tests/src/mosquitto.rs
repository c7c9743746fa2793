//! A Mosquitto broker of our own: in a container where the image is present, else the installed
//! program.
//!
//! It listens on one port for all its life, also after [`Mosquitto::again`], lets everybody in
//! and queues without a limit.

mod contained;
mod hello;
mod installed;

use std::time::Duration;

use contained::Contained;
use hello::hello;
use installed::Installed;

use crate::free_port::free_port;
use crate::wait::eventually;
use crate::{container, missing};

/// How long a broker may take until it answers.
const PATIENCE: Duration = Duration::from_secs(20);

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
struct Limits {
    persistence: Persistence,
    queue: u32,
    window: u32,
}

/// A running broker. Dropping it ends it and removes what it kept.
#[derive(Debug)]
pub struct Mosquitto {
    place: Place,
    host: String,
    port: u16,
}

#[derive(Debug)]
enum Place {
    Contained(Box<Contained>),
    Installed(Installed),
}

impl Mosquitto {
    /// Starts a broker and waits until it answers; none, said aloud, when there is neither an
    /// image nor the program.
    ///
    /// # Panics
    /// When it does not answer in time, or with `CI=true` when it cannot be had.
    pub async fn start(persistence: Persistence) -> Option<Self> {
        Self::with_queue(persistence, 0).await
    }

    /// The same with room for so many messages in each client's queue; 0 is without a limit. What
    /// does not fit is dropped without a word.
    ///
    /// # Panics
    /// Like [`Self::start`].
    pub async fn with_queue(persistence: Persistence, most: u32) -> Option<Self> {
        Self::with(Limits { persistence, queue: most, window: USUAL_WINDOW }).await
    }

    /// The same, without a limit to the queues, and with so many messages sent to a client before
    /// it has confirmed one.
    ///
    /// # Panics
    /// Like [`Self::start`].
    pub async fn with_window(persistence: Persistence, window: u32) -> Option<Self> {
        Self::with(Limits { persistence, queue: 0, window }).await
    }

    async fn with(limits: Limits) -> Option<Self> {
        let image = container::image("MOSQUITTO", "eclipse-mosquitto:2").await;
        let broker = match image {
            Some((name, tag)) => {
                let port = free_port();
                let contained = Contained::start(&name, &tag, port, limits).await;
                let host = contained.host().await;
                let place = Place::Contained(Box::new(contained));
                Self { place, host, port }
            }
            None => Self::installed(limits).await?,
        };
        broker.answers().await;
        Some(broker)
    }

    /// Tries another port when somebody took the free one meanwhile.
    async fn installed(limits: Limits) -> Option<Self> {
        let program = missing::program("mosquitto", "Debian package mosquitto")?;
        for _ in 0..5 {
            let port = free_port();
            let mut installed = Installed::start(&program, port, limits);
            if installed.listens().await {
                let place = Place::Installed(installed);
                let host = "127.0.0.1".to_owned();
                return Some(Self { place, host, port });
            }
        }
        panic!("mosquitto found each of five free ports taken");
    }

    /// Where it listens.
    #[must_use]
    pub fn host(&self) -> &str {
        &self.host
    }

    /// Where it listens.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.port
    }

    /// True when it runs in a container.
    #[must_use]
    pub fn in_container(&self) -> bool {
        matches!(self.place, Place::Contained(_))
    }

    /// Stops it in order.
    ///
    /// # Panics
    /// When it cannot be stopped.
    pub async fn stop(&mut self) {
        match &mut self.place {
            Place::Contained(contained) => contained.stop().await,
            Place::Installed(installed) => installed.stop(),
        }
    }

    /// Kills it without a warning.
    ///
    /// # Panics
    /// When it cannot be killed.
    pub async fn kill(&mut self) {
        match &mut self.place {
            Place::Contained(contained) => contained.kill().await,
            Place::Installed(installed) => installed.kill(),
        }
    }

    /// Starts it again on the same port, with what it kept, and waits until it answers.
    ///
    /// # Panics
    /// When it does not answer in time.
    pub async fn again(&mut self) {
        match &mut self.place {
            Place::Contained(contained) => contained.again().await,
            Place::Installed(installed) => installed.again(),
        }
        self.answers().await;
    }

    async fn answers(&self) {
        eventually("the broker answers", PATIENCE, async || hello(&self.host, self.port).await)
            .await;
    }
}

/// The broker's configuration file.
fn configuration(listener: &str, folder: &str, limits: Limits) -> String {
    let Limits { queue, window, .. } = limits;
    let kept = match limits.persistence {
        Persistence::Off => "persistence false".to_owned(),
        Persistence::OnStop => format!("persistence true\npersistence_location {folder}/"),
        Persistence::EachChange => format!(
            "persistence true\npersistence_location {folder}/\n\
             autosave_on_changes true\nautosave_interval 1"
        ),
    };
    format!(
        "listener {listener}\nallow_anonymous true\nuser root\nset_tcp_nodelay true\n\
         max_queued_messages {queue}\nmax_inflight_messages {window}\nlog_dest stderr\n{kept}\n"
    )
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn is_killed_and_comes_back_on_the_same_port() {
        let Some(mut broker) = Mosquitto::start(Persistence::EachChange).await else {
            return;
        };
        broker.kill().await;
        let silent = hello(broker.host(), broker.port()).await;
        assert!(silent.is_err(), "a killed broker answered");
        broker.again().await;
        broker.stop().await;
        let silent = hello(broker.host(), broker.port()).await;
        assert!(silent.is_err(), "a stopped broker answered");
    }
}
