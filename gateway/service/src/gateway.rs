//! A running gateway: opened, started, stopped in order.

use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use anyhow::Context as _;
use stencilward_adapters::link::{Floor, Intake, Link, now};
use stencilward_config::Configuration;
use stencilward_domain::outputs::Wanted;
use stencilward_domain::site::Site;
use stencilward_ledger::{Ledger, SqliteLedger};
use stencilward_web::{Readiness, SiteHandle, Surface};
use tokio::net::TcpListener;
use tokio::sync::watch;
use tokio::task::{JoinHandle, JoinSet};
use tokio_util::sync::CancellationToken;

use crate::journal::{Journal, JournalError};
use crate::keeper::{Ended, Keeper};
use crate::metrics::{Follower, Metrics};
use crate::replay::replay;

/// Deliveries that may wait for the site task; a full intake slows the links down.
const INTAKE: usize = 1_024;

/// Visits that may wait for the site task.
const VISITS: usize = 256;

/// Time given to the links to end and to the site task to write what they left.
pub const DRAIN: Duration = Duration::from_secs(10);

/// A running gateway.
pub struct Gateway {
    address: SocketAddr,
    site: SiteHandle,
    ledger: Arc<dyn Ledger>,
    stop_links: CancellationToken,
    stop_web: CancellationToken,
    give_up: CancellationToken,
    links: JoinSet<()>,
    keeper: JoinHandle<Result<Ended, JournalError>>,
    web: JoinHandle<std::io::Result<()>>,
}

/// What an orderly stop left behind.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Left {
    /// Links that did not end in time; what they held unconfirmed comes again.
    pub links: usize,
    /// Events that could not be made durable; the messages they came from come again.
    pub unwritten: usize,
}

impl Gateway {
    /// Opens the ledger, replays it, and starts the site task, the links and the web.
    ///
    /// # Errors
    /// When the ledger cannot be opened or read, or the web's address is taken.
    pub async fn start(configuration: &Configuration) -> anyhow::Result<Self> {
        let listener = TcpListener::bind(&configuration.listen).await.with_context(|| {
            format!(
                "cannot listen on {}: stop what listens there, or change `listen`",
                configuration.listen
            )
        })?;
        let address = listener.local_addr()?;
        let ledger: Arc<dyn Ledger> = Arc::new(open(configuration).await?);
        let mut site = Site::new(configuration.plant());
        let metrics = Arc::new(Metrics::new()?);
        let mut follower = Follower::new(Arc::clone(&metrics));
        let versions = replay(&*ledger, |recorded| {
            site.replay(recorded);
            follower.count(&recorded.fact.event);
        })
        .await?;
        site.start(env!("CARGO_PKG_VERSION"), now());
        follower.show_all(&site);

        let readiness = Arc::new(Readiness::not_yet("starting"));
        let (intake, deliveries) = Intake::bounded(INTAKE);
        let (handle, visits) = SiteHandle::bounded(VISITS);
        let (wanted, wanted_by_links) = watch::channel(Arc::new(Wanted::default()));
        let give_up = CancellationToken::new();
        let keeper = Keeper {
            follower,
            site,
            journal: Journal::new(Arc::clone(&ledger), Arc::clone(&metrics), versions),
            metrics: Arc::clone(&metrics),
            readiness: Arc::clone(&readiness),
            wanted,
            deliveries,
            visits,
            give_up: give_up.clone(),
            beat: 0,
        };
        let stop_links = CancellationToken::new();
        let floor = Floor {
            intake,
            wanted: wanted_by_links,
            observer: Arc::clone(&metrics) as _,
            stop: stop_links.clone(),
        };
        let surface =
            Surface { site: handle.clone(), readiness, metrics: Arc::new(move || metrics.text()) };
        let stop_web = CancellationToken::new();
        let links = start_links(configuration.links(), &floor);
        // The links hold the only ways in now: when they have ended, the intake is closed.
        drop(floor);
        Ok(Self {
            address,
            site: handle,
            ledger,
            keeper: tokio::spawn(keeper.run()),
            links,
            web: serve(listener, surface, stop_web.clone()),
            stop_links,
            stop_web,
            give_up,
        })
    }

    /// Where the web listens.
    #[must_use]
    pub fn address(&self) -> SocketAddr {
        self.address
    }

    /// A handle on the site task.
    #[must_use]
    pub fn site(&self) -> &SiteHandle {
        &self.site
    }

    /// The ledger, to read and follow.
    #[must_use]
    pub fn ledger(&self) -> &Arc<dyn Ledger> {
        &self.ledger
    }

    /// Waits until the site task ends by itself, which it only does on a fatal fault.
    pub async fn failed(&mut self) -> anyhow::Error {
        match (&mut self.keeper).await {
            Ok(Ok(_)) => anyhow::anyhow!("the site task ended before it was told to"),
            Ok(Err(error)) => anyhow::Error::new(error),
            Err(error) => anyhow::Error::new(error).context("the site task broke: please report"),
        }
    }

    /// Stops in order: the links first, then what they handed over is written, then the web.
    /// All of it takes no longer than `drain`.
    ///
    /// # Errors
    /// When the site task had failed before.
    pub async fn stop(mut self, drain: Duration) -> anyhow::Result<Left> {
        let deadline = tokio::time::Instant::now() + drain;
        self.stop_links.cancel();
        let ended = async { while self.links.join_next().await.is_some() {} };
        let half = tokio::time::Instant::now() + drain / 2;
        let _ = tokio::time::timeout_at(half, ended).await;
        let links = self.links.len();
        self.links.abort_all();
        while self.links.join_next().await.is_some() {}

        self.stop_web.cancel();
        drop(self.site);
        let give_up = self.give_up.clone();
        let timer = tokio::spawn(async move {
            tokio::time::sleep_until(deadline).await;
            give_up.cancel();
        });
        let web = tokio::time::timeout_at(deadline, &mut self.web).await;
        if web.is_err() {
            self.web.abort();
        }
        let ended = self.keeper.await.context("the site task broke: please report")??;
        timer.abort();
        self.ledger.close().await;
        Ok(Left { links, unwritten: ended.unwritten })
    }

    /// Ends at once, as a killed process would: nothing is drained, no output is changed.
    pub async fn kill(mut self) {
        self.keeper.abort();
        self.web.abort();
        self.links.abort_all();
        while self.links.join_next().await.is_some() {}
        let _ = self.keeper.await;
        let _ = self.web.await;
        self.ledger.close().await;
    }
}

async fn open(configuration: &Configuration) -> anyhow::Result<SqliteLedger> {
    let file = configuration.ledger.clone();
    let opened = tokio::task::spawn_blocking(move || SqliteLedger::open(&file)).await?;
    opened.with_context(|| format!("cannot open the ledger {}", configuration.ledger.display()))
}

fn start_links(links: Vec<Box<dyn Link>>, floor: &Floor) -> JoinSet<()> {
    let mut tasks = JoinSet::new();
    for link in links {
        tasks.spawn(link.run(floor.clone()));
    }
    tasks
}

fn serve(
    listener: TcpListener,
    surface: Surface,
    stop: CancellationToken,
) -> JoinHandle<std::io::Result<()>> {
    let router = stencilward_web::router(surface);
    tokio::spawn(async move {
        axum::serve(listener, router).with_graceful_shutdown(stop.cancelled_owned()).await
    })
}
