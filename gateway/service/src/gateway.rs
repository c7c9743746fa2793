//! A running gateway: opened, started, stopped in order.

mod archivist;
mod front;
mod links;
mod owing;
mod steward;

use std::collections::HashMap;
use std::net::SocketAddr;
use std::path::Path;
use std::sync::Arc;
use std::time::Duration;

use anyhow::Context as _;
use stencilward_adapters::link::{Floor, Intake, now};
use stencilward_config::{Configuration, LanguageWord};
use stencilward_domain::event::Stream;
use stencilward_domain::outputs::Wanted;
use stencilward_domain::site::Site;
use stencilward_ledger::{Ledger, SqliteLedger};
use stencilward_web::{
    AlarmBoard, Archive, Language, Premises, Readiness, ReloadHandle, SiteHandle, Surface,
};
use tokio::sync::{mpsc, watch};
use tokio::task::JoinHandle;
use tokio_util::sync::CancellationToken;
use tokio_util::task::{AbortOnDropHandle, TaskTracker};

use crate::archive::Past;
use crate::journal::{Journal, JournalError};
use crate::keeper::{Ended, Keeper};
use crate::metrics::{Follower, Look, Metrics, keep_outlook};
use crate::notices::{Notices, Told};
use crate::replay::Pages;
use crate::showing::Showing;
use crate::snapshot::{Recheck, Snapshot, Taker, Wrong};
use crate::supervisor;
use archivist::Archivist;
use front::{Entry, Front};
use links::Links;
use owing::{Debts, owe_only_the_told};
use steward::Steward;

/// Deliveries that may wait for the site task; a full intake slows the links down.
const INTAKE: usize = 1_024;

/// Visits that may wait for the site task.
const VISITS: usize = 256;

/// Reloads that may wait for the one at work.
const RELOADS: usize = 8;

/// Time given to the links to end and to the site task to write what they left.
pub const DRAIN: Duration = Duration::from_secs(10);

/// A running gateway.
pub struct Gateway {
    address: SocketAddr,
    readiness: Arc<Readiness>,
    site: SiteHandle,
    reload: ReloadHandle,
    alarms: Arc<AlarmBoard>,
    ledger: Arc<dyn Ledger>,
    stop_links: CancellationToken,
    stop_web: CancellationToken,
    give_up: CancellationToken,
    links: TaskTracker,
    steward: JoinHandle<()>,
    keeper: JoinHandle<Result<Ended, JournalError>>,
    front: Front,
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
    /// Starts a gateway of which the configuration cannot be read anew.
    ///
    /// # Errors
    /// As for [`Self::start_from`].
    pub async fn start(configuration: &Configuration) -> anyhow::Result<Self> {
        Self::open(configuration, None).await
    }

    /// Opens the ledger, replays it, and starts the site task, the links and the web. The
    /// configuration comes from this file, and is read anew from there.
    ///
    /// # Errors
    /// When the ledger cannot be opened or read, or the web's address is taken.
    pub async fn start_from(file: &Path, configuration: &Configuration) -> anyhow::Result<Self> {
        Self::open(configuration, Some(file)).await
    }

    #[expect(clippy::too_many_lines, reason = "the wiring of the whole, a line or two each wire")]
    async fn open(configuration: &Configuration, file: Option<&Path>) -> anyhow::Result<Self> {
        let entry = Entry::open(configuration).await?;
        let kept = open(configuration).await?;
        let ledger: Arc<dyn Ledger> = Arc::clone(&kept) as _;
        let metrics = Arc::new(Metrics::new()?);
        let Begun { site, follower, versions, snapshots, recheck } =
            begin(configuration, &ledger, &metrics).await?;
        let (showing, view) = Showing::new();
        let alarms = Arc::new(AlarmBoard::showing(site.active_alarms(now())));
        let (tasks, readiness) = (TaskTracker::new(), Arc::new(Readiness::not_yet("starting")));
        let (intake, deliveries) = Intake::bounded(INTAKE);
        let (handle, visits) = SiteHandle::bounded(VISITS);
        let (reload, asks) = ReloadHandle::bounded(RELOADS);
        let (replan, replans) = mpsc::channel(1);
        let (debts, forgetful) = Debts::new(Arc::clone(&ledger));
        let (wanted, wanted_by_links) = watch::channel(Arc::new(Wanted::default()));
        let [give_up, stop_web, stop_links] = std::array::from_fn(|_| CancellationToken::new());
        let keeper = Keeper {
            follower,
            showing,
            site,
            journal: Journal::new(Arc::clone(&ledger), Arc::clone(&metrics), versions),
            metrics: Arc::clone(&metrics),
            readiness: Arc::clone(&readiness),
            alarms: Arc::clone(&alarms),
            wanted,
            deliveries,
            visits,
            replans,
            notices: Notices::new(Told::by(configuration)),
            forgetful,
            give_up: give_up.clone(),
            beat: 0,
            snapshots,
            recheck,
        };
        let (owing, told) = (Some(Arc::new(debts) as _), Some(alarms.follow()));
        let (observer, stop) = (Arc::clone(&metrics) as _, stop_links.clone());
        let floor = Floor { intake, wanted: wanted_by_links, observer, owing, alarms: told, stop };
        // The links and their steward hold the only ways in: when they have ended, the intake is
        // closed.
        let links = Links::of(configuration.wires(), floor, view, tasks.clone());
        let steward = Steward {
            file: file.map(Path::to_path_buf),
            configuration: configuration.clone(),
            ledger: Arc::clone(&ledger),
            links,
            replans: replan,
            asks,
            stop: stop_links.clone(),
        };
        let archivist = Archivist::new(kept, Arc::clone(&metrics), configuration);
        tokio::spawn(archivist.run(stop_links.clone()));
        let (archive, metrics) =
            told_outside(configuration, &ledger, metrics, Arc::clone(&readiness), &stop_web);
        let surface = Surface {
            site: handle.clone(),
            reload: reload.clone(),
            readiness: Arc::clone(&readiness),
            alarms: Arc::clone(&alarms),
            metrics,
            door: Arc::clone(&entry.door),
            archive,
            premises: premises(configuration),
        };
        Ok(Self {
            address: entry.address,
            readiness,
            site: handle,
            reload,
            alarms,
            ledger,
            keeper: tokio::spawn(keeper.run()),
            links: tasks,
            steward: tokio::spawn(steward.run()),
            front: entry.serve(surface, stop_web.clone()),
            stop_links,
            stop_web,
            give_up,
        })
    }

    /// True while the site task moves, even if it can only say that the ledger takes no writes.
    #[must_use]
    pub fn moves(&self) -> bool {
        self.readiness.moves()
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

    /// The alarms that stand.
    #[must_use]
    pub fn alarms(&self) -> &Arc<AlarmBoard> {
        &self.alarms
    }

    /// A handle by which the configuration is read anew.
    #[must_use]
    pub fn reload(&self) -> &ReloadHandle {
        &self.reload
    }

    /// Reads the certificate anew, where there is one.
    ///
    /// # Errors
    /// A sentence that says what is wrong with it; the one before stays in use.
    pub fn renew_certificate(&self) -> Result<(), String> {
        self.front.renew_certificate()
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
        let half = tokio::time::Instant::now() + drain / 2;
        let _ = tokio::time::timeout_at(half, &mut self.steward).await;
        let links = self.links.len();
        self.end_links().await;

        self.stop_web.cancel();
        drop(self.site);
        let give_up = self.give_up.clone();
        let timer = tokio::spawn(async move {
            tokio::time::sleep_until(deadline).await;
            give_up.cancel();
        });
        self.front.ended(deadline).await;
        let ended = self.keeper.await.context("the site task broke: please report")??;
        timer.abort();
        self.ledger.close().await;
        Ok(Left { links, unwritten: ended.unwritten })
    }

    /// Ends the steward and the links that have not ended, wherever they are.
    async fn end_links(&mut self) {
        self.steward.abort();
        self.links.close();
        self.links.wait().await;
    }

    /// Ends at once, as a killed process would: nothing is drained, no output is changed.
    pub async fn kill(mut self) {
        self.keeper.abort();
        self.end_links().await;
        self.front.kill().await;
        let _ = self.keeper.await;
        self.ledger.close().await;
    }
}

/// The site as the ledger left it, with metrics that show it and each stream's version.
struct Begun {
    site: Site,
    follower: Follower,
    versions: HashMap<Stream, u64>,
    snapshots: Taker,
    recheck: Option<AbortOnDropHandle<Result<(), Wrong>>>,
}

async fn begin(
    configuration: &Configuration,
    ledger: &Arc<dyn Ledger>,
    metrics: &Arc<Metrics>,
) -> anyhow::Result<Begun> {
    let mut site = Site::new(configuration.plant());
    let mut follower = Follower::new(Arc::clone(metrics), configuration.metrics.stencils);
    let file = Snapshot::file(&configuration.ledger);
    let unread = "cannot read the ledger";
    let snapshot = Snapshot::of(&**ledger, file.clone()).await.context(unread)?;
    let recheck = snapshot.map(|Snapshot { state, counts }| {
        follower.recall(&counts)?;
        tracing::info!(events = state.head.0, "starting from the snapshot");
        site.recall(state.clone());
        let recheck = Recheck::new(Arc::clone(ledger), file.clone(), state);
        anyhow::Ok(AbortOnDropHandle::new(tokio::spawn(recheck.run())))
    });
    let recheck = recheck.transpose()?;
    let (known, head) = (site.state().head, *ledger.head().borrow());
    let mut pages = Pages::of(&**ledger, known, head);
    while let Some(page) = pages.next().await.context(unread)? {
        for recorded in page.iter().map(|entry| &entry.recorded) {
            site.replay(recorded);
            follower.count(&recorded.fact.event);
        }
        supervisor::reads(pages.position(), head);
    }
    let versions = ledger.versions().await.context(unread)?;
    let now = now();
    site.start(env!("CARGO_PKG_VERSION"), now);
    follower.show_all(&site, now);
    let snapshots = Taker::new(Arc::clone(ledger), file, known);
    Ok(Begun { site, follower, versions, snapshots, recheck })
}

/// What is told of the past, and what Prometheus is told.
fn told_outside(
    configuration: &Configuration,
    ledger: &Arc<dyn Ledger>,
    metrics: Arc<Metrics>,
    readiness: Arc<Readiness>,
    stop: &CancellationToken,
) -> (Arc<dyn Archive>, Arc<dyn Fn() -> String + Send + Sync>) {
    let archive = Past::shared(Arc::clone(ledger), configuration, stop.clone());
    let (followed, asked) = (Arc::clone(&metrics), Arc::clone(&archive));
    tokio::spawn(keep_outlook(followed, asked, configuration.metrics.stencils, stop.clone()));
    let look = Look { readiness, ledger: configuration.ledger.clone() };
    (archive, Arc::new(move || metrics.scrape(&look)))
}

fn premises(configuration: &Configuration) -> Premises {
    let language = match configuration.language {
        LanguageWord::English => Language::English,
        LanguageWord::German => Language::German,
    };
    Premises { name: configuration.site.clone(), zone: configuration.time_zone(), language }
}

async fn open(configuration: &Configuration) -> anyhow::Result<Arc<SqliteLedger>> {
    let file = configuration.ledger.clone();
    let opened = tokio::task::spawn_blocking(move || SqliteLedger::open(&file)).await?;
    let opened = opened
        .with_context(|| format!("cannot open the ledger {}", configuration.ledger.display()));
    let ledger = Arc::new(opened?);
    owe_only_the_told(&*ledger, configuration).await;
    Ok(ledger)
}
