//! Servers that are not ours, started for a test: in a container where a Docker engine has the
//! image or can pull it, else as the installed program.
//!
//! `STENCILWARD_SERVICES` forces one way ([`Way`]); `STENCILWARD_IMAGE_<SERVICE>` names another
//! image than the public one. Where nothing can be pulled, `tests/images/build.sh` makes images
//! that are found by themselves. What is asked for and cannot be had is skipped aloud
//! ([`missing`]).

mod contained;
mod image;
mod installed;
mod way;

use std::net::{IpAddr, Ipv4Addr, SocketAddr};
use std::path::PathBuf;
use std::process::Command;
use std::time::Duration;

use contained::Contained;
pub use image::engine_answers;
use installed::Installed;
pub use way::Way;

use crate::child::Signal;
use crate::missing;
use crate::wait::eventually;

/// How often another port is tried when somebody took the free one meanwhile.
const TRIES: usize = 5;

/// Words in which programs and engines say that somebody has the port already.
const TAKEN: [&str; 3] = ["ddress already in use", "eaddrinuse", "already allocated"];

fn taken(text: &str) -> bool {
    TAKEN.iter().any(|words| text.contains(words))
}

/// Where a server listens and has its files, as itself sees it.
#[derive(Debug, Clone)]
pub struct Site {
    /// The address it listens at.
    pub address: IpAddr,
    /// Its ports, in the order of [`Server::PORTS`].
    pub ports: Vec<u16>,
    /// The folder of the files that it is given.
    pub configuration: PathBuf,
    /// The folder in which it keeps what must be there after a restart.
    pub data: PathBuf,
}

/// One kind of server: its image, its program, its files and its greeting.
pub trait Server: Send + Sync {
    /// What settings and our own images call it.
    const NAME: &'static str;

    /// The public image.
    const IMAGE: &'static str;

    /// Where it listens in that image.
    const PORTS: &'static [u16];

    /// The folder of configuration files in that image.
    const CONFIGURATION: &'static str;

    /// The folder of data in that image.
    const DATA: &'static str;

    /// True when it has to reach what listens on this machine's loopback interface, and therefore
    /// has no network of its own in a container either.
    const SHARES_NETWORK: bool = false;

    /// What the installed program writes once it listens.
    const LISTENS: &'static str;

    /// How long it may take until it answers.
    const PATIENCE: Duration = Duration::from_secs(30);

    /// The files in the folder of its configuration, by their names.
    fn files(&self, site: &Site) -> Vec<(&'static str, String)>;

    /// What is said to the image's entry point.
    fn command(&self, site: &Site) -> Vec<String>;

    /// The installed program, last, and before it those that it needs beside it and that live on
    /// when it is restarted; none, said aloud, when one is missing.
    fn programs(&self, site: &Site) -> Option<Vec<Command>>;

    /// The shortest conversation that shows that it serves at this address; else what came instead.
    fn hello(&self, address: SocketAddr) -> impl Future<Output = Result<(), String>> + Send;

    /// Asks the server, once it answers, what has to be known of it.
    fn learn(&mut self, _address: SocketAddr) -> impl Future<Output = ()> + Send {
        std::future::ready(())
    }
}

/// A running server. It listens on the same ports of the loopback interface for all its life, also
/// after [`Service::again`]. Dropping it ends it and removes what it kept.
#[derive(Debug)]
pub struct Service<S> {
    server: S,
    place: Place,
    ports: Vec<u16>,
}

#[derive(Debug)]
enum Place {
    Contained(Box<Contained>),
    Installed(Box<Installed>),
}

impl<S: Server> Service<S> {
    /// Starts the server where this machine can have it and waits until it answers.
    ///
    /// # Panics
    /// When it does not answer in time; with `CI=true` when it cannot be had.
    pub async fn run(server: S) -> Option<Self> {
        Self::run_as(server, way::wanted()).await
    }

    /// The same in this way only.
    ///
    /// # Panics
    /// As for [`Self::run`].
    pub async fn run_in(server: S, way: Way) -> Option<Self> {
        Self::run_as(server, Some(way)).await
    }

    async fn run_as(server: S, way: Option<Way>) -> Option<Self> {
        let (place, ports) = match way {
            Some(Way::Process) => Self::installed(&server).await?,
            Some(Way::Container) => Self::contained(&server).await?,
            // An image that somebody named is not replaced by something else in silence.
            None if image::is_named(S::NAME) => Self::contained(&server).await?,
            None if image::image(S::NAME, S::IMAGE).await.is_ok() => {
                Self::contained(&server).await?
            }
            None => Self::installed(&server).await?,
        };
        let mut service = Self { server, place, ports };
        service.answers().await;
        let address = service.address();
        service.server.learn(address).await;
        Some(service)
    }

    async fn contained(server: &S) -> Option<(Place, Vec<u16>)> {
        match image::image(S::NAME, S::IMAGE).await {
            Ok(image) => {
                let (contained, ports) = Contained::start(server, &image).await;
                Some((Place::Contained(Box::new(contained)), ports))
            }
            Err(why) => {
                missing::skip(&format!("no container for {}: {why}", S::NAME));
                None
            }
        }
    }

    async fn installed(server: &S) -> Option<(Place, Vec<u16>)> {
        let (installed, ports) = Installed::start(server).await?;
        Some((Place::Installed(Box::new(installed)), ports))
    }

    /// What was started.
    #[must_use]
    pub fn server(&self) -> &S {
        &self.server
    }

    /// Where it listens.
    #[must_use]
    pub fn host(&self) -> &'static str {
        "127.0.0.1"
    }

    /// Where it listens, or where it does first if it has several ports.
    #[must_use]
    pub fn port(&self) -> u16 {
        self.ports[0]
    }

    /// Where it listens: the port at this place of [`Server::PORTS`].
    ///
    /// # Panics
    /// When it has no such port.
    #[must_use]
    pub fn port_at(&self, place: usize) -> u16 {
        self.ports[place]
    }

    /// Where it listens.
    #[must_use]
    pub fn address(&self) -> SocketAddr {
        (Ipv4Addr::LOCALHOST, self.port()).into()
    }

    /// True when it runs in a container.
    #[must_use]
    pub fn in_container(&self) -> bool {
        self.container().is_some()
    }

    /// The name of its container.
    #[must_use]
    pub fn container(&self) -> Option<&str> {
        match &self.place {
            Place::Contained(contained) => Some(contained.name()),
            Place::Installed(_) => None,
        }
    }

    /// The process id of the program, where it was started as one.
    #[must_use]
    pub fn process(&self) -> Option<u32> {
        match &self.place {
            Place::Contained(_) => None,
            Place::Installed(installed) => Some(installed.server().id()),
        }
    }

    /// Stops it in order.
    ///
    /// # Panics
    /// When it cannot be stopped.
    pub async fn stop(&mut self) {
        match &mut self.place {
            Place::Contained(contained) => contained.stop().await,
            Place::Installed(installed) => {
                installed.server_mut().stop();
            }
        }
    }

    /// Kills it without a warning.
    ///
    /// # Panics
    /// When it cannot be killed.
    pub async fn kill(&mut self) {
        match &mut self.place {
            Place::Contained(contained) => contained.kill().await,
            Place::Installed(installed) => {
                installed.server_mut().kill();
            }
        }
    }

    /// Starts it again on the same ports, with what it kept, and waits until it answers.
    ///
    /// # Panics
    /// When it does not answer in time.
    pub async fn again(&mut self) {
        match &mut self.place {
            Place::Contained(contained) => contained.again().await,
            Place::Installed(installed) => installed.again::<S>().await,
        }
        self.answers().await;
    }

    /// Freezes it: connections stay, and nothing moves on them once this returns.
    ///
    /// # Panics
    /// When it does not run or does not stand still in time.
    pub async fn pause(&mut self) {
        match &self.place {
            Place::Contained(contained) => contained.pause().await,
            Place::Installed(installed) => {
                installed.server().signal(Signal::STOP);
                self.stands_still().await;
            }
        }
    }

    /// The signal reaches a program's threads a moment after it was sent.
    async fn stands_still(&self) {
        let what = format!("{} stands still", S::NAME);
        eventually(&what, S::PATIENCE, async || match self.hello().await {
            Ok(()) => Err("it answers"),
            Err(_) => Ok(()),
        })
        .await;
    }

    /// Lets it go on after [`Self::pause`].
    ///
    /// # Panics
    /// When it does not run.
    pub async fn unpause(&mut self) {
        match &self.place {
            Place::Contained(contained) => contained.unpause().await,
            Place::Installed(installed) => installed.server().signal(Signal::CONT),
        }
    }

    /// Says hello to it; else what came instead.
    ///
    /// # Errors
    /// When it does not serve.
    pub async fn hello(&self) -> Result<(), String> {
        let limit = Duration::from_secs(2);
        match tokio::time::timeout(limit, self.server.hello(self.address())).await {
            Ok(answer) => answer,
            Err(_) => Err("it did not answer".to_owned()),
        }
    }

    async fn answers(&self) {
        let what = format!("{} answers", S::NAME);
        eventually(&what, S::PATIENCE, async || match self.hello().await {
            Ok(()) => Ok(()),
            Err(why) => Err(format!("{why}\n{}", self.transcript().await)),
        })
        .await;
    }

    /// All that it wrote until now.
    pub async fn transcript(&self) -> String {
        match &self.place {
            Place::Contained(contained) => contained.transcript().await,
            Place::Installed(installed) => installed.server().transcript(),
        }
    }
}
