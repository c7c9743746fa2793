//! `stencilward demo`: an invented plant on loopback, run through the real gateway.
//!
//! The machines are simulated, the protocols are real. The plant keeps its own tally of what it
//! did; at the end the ledger is read anew and must say the same.

pub mod printer;
pub mod rack;
mod story;
pub mod washer;

use std::process::ExitCode;
use std::sync::Arc;
use std::time::Duration;

use anyhow::Context as _;
use stencilward_config::Configuration;
use stencilward_domain::machine::LinkState;
use stencilward_web::SiteHandle;
use tokio::sync::watch;
use tokio::time::{Instant, sleep};
use tokio_util::sync::CancellationToken;
use tracing_subscriber::filter::LevelFilter;

use crate::account::{compare, knows, ledger_says};
use crate::gateway::{DRAIN, Gateway};
use crate::logging::{self, LogFormat};
use crate::narrator::Narrator;
use crate::plant::Plant;
use crate::plant::tally::Tally;
use story::People;

/// The shipped configuration of the invented plant.
pub const CONFIGURATION: &str = include_str!("../../../config/examples/demo.yaml");

/// When the gateway is killed in the middle of the story, unless the demo is shorter.
const KILL_AFTER: Duration = Duration::from_secs(16);

/// How long it stays away.
const AWAY: Duration = Duration::from_millis(1_500);

/// Longest wait at the end for the gateway to take in what the machines said last.
const CATCH_UP: Duration = Duration::from_secs(15);

/// The way to the site task of the gateway that runs at the moment.
pub(crate) type Desk = watch::Receiver<Option<SiteHandle>>;

/// Runs the demo for `length`, or until Ctrl-C.
pub fn demo(length: Option<Duration>, listen: String, log: LogFormat) -> ExitCode {
    logging::start(log, LevelFilter::ERROR);
    let runtime = match tokio::runtime::Runtime::new() {
        Ok(runtime) => runtime,
        Err(error) => {
            eprintln!("no runtime: {error}");
            return ExitCode::FAILURE;
        }
    };
    match runtime.block_on(play(length, listen)) {
        Ok(true) => ExitCode::SUCCESS,
        Ok(false) => ExitCode::FAILURE,
        Err(error) => {
            eprintln!("the demo cannot go on: {error:#}");
            ExitCode::FAILURE
        }
    }
}

/// Plays the story; true when machines and ledger agree.
async fn play(length: Option<Duration>, listen: String) -> anyhow::Result<bool> {
    let folder = tempfile::tempdir().context("no temporary folder for the ledger")?;
    let mut configuration = stencilward_config::parse("demo.yaml", CONFIGURATION)
        .map_err(|faults| anyhow::anyhow!("the shipped configuration is faulty: {faults:?}"))?;
    configuration.listen = listen;
    configuration.ledger = folder.path().join("demo.db");
    let begun = Instant::now();
    let narrator = Narrator::new(begun);
    let plant = Plant::start(configuration).await?;
    let desk = watch::Sender::new(None);
    let closing = CancellationToken::new();
    let people = People::at(&plant, desk.subscribe(), narrator, closing.clone())?;
    people.switch_machines_on().await?;
    let mut stage = Stage::open(&plant.configuration, narrator, desk).await?;
    stage.announce(length);
    stage.machines_up().await?;

    let direction = stage.direct(&plant, length, begun);
    tokio::try_join!(people.play(), async {
        let directed = direction.await;
        closing.cancel();
        directed
    })?;
    stage.catch_up(&plant.tally).await;
    stage.close(&plant).await
}

/// The gateway on stage, and who speaks to it.
struct Stage {
    gateway: Option<Gateway>,
    desk: watch::Sender<Option<SiteHandle>>,
    narrator: Narrator,
    telling: Option<tokio::task::JoinHandle<()>>,
}

impl Stage {
    async fn open(
        configuration: &Configuration,
        narrator: Narrator,
        desk: watch::Sender<Option<SiteHandle>>,
    ) -> anyhow::Result<Self> {
        let gateway = Gateway::start(configuration).await?;
        desk.send_replace(Some(gateway.site().clone()));
        let telling = Some(narrator.follow(Arc::clone(gateway.ledger())));
        Ok(Self { gateway: Some(gateway), desk, narrator, telling })
    }

    fn announce(&self, length: Option<Duration>) {
        let address = self.gateway.as_ref().map(Gateway::address);
        let address = address.map_or_else(String::new, |address| address.to_string());
        println!("An invented plant; its machines are simulated, the protocols are real.");
        println!("Metrics: http://{address}/metrics   state: http://{address}/api/v1/stencils");
        match length {
            Some(length) => println!("It ends by itself after {} s.\n", length.as_secs()),
            None => println!("Ctrl-C ends it.\n"),
        }
    }

    /// Waits until every link is up: a broker keeps nothing for a gateway it has never seen.
    async fn machines_up(&self) -> anyhow::Result<()> {
        let deadline = Instant::now() + CATCH_UP;
        let site = self.gateway.as_ref().map(Gateway::site).context("the gateway is gone")?;
        loop {
            let up = site.look(|site, _| {
                let link = |name| site.state().machines.get(name).map(|machine| &machine.link);
                site.plant().machines.keys().all(|name| link(name) == Some(&LinkState::Up))
            });
            if up.await? {
                return Ok(());
            }
            anyhow::ensure!(Instant::now() < deadline, "not all simulated machines came up");
            sleep(Duration::from_millis(50)).await;
        }
    }

    /// Kills and restarts the gateway in the middle, and waits for the end.
    async fn direct(
        &mut self,
        plant: &Plant,
        length: Option<Duration>,
        begun: Instant,
    ) -> anyhow::Result<()> {
        let kill_after = length.map_or(KILL_AFTER, |length| KILL_AFTER.min(length / 2));
        let end = async {
            match length {
                Some(length) => tokio::time::sleep_until(begun + length).await,
                None => std::future::pending().await,
            }
        };
        tokio::pin!(end);
        let interrupted = tokio::signal::ctrl_c();
        tokio::pin!(interrupted);
        tokio::select! {
            () = tokio::time::sleep_until(begun + kill_after) => {}
            () = &mut end => return Ok(()),
            _ = &mut interrupted => return Ok(()),
        }
        self.restart(plant).await?;
        tokio::select! {
            () = &mut end => Ok(()),
            _ = &mut interrupted => Ok(()),
        }
    }

    async fn restart(&mut self, plant: &Plant) -> anyhow::Result<()> {
        let before = plant.tally.all_strokes();
        self.narrator.say("gateway", "is killed without warning; the printers go on");
        self.desk.send_replace(None);
        if let Some(telling) = self.telling.take() {
            telling.abort();
            let _ = telling.await;
        }
        if let Some(gateway) = self.gateway.take() {
            gateway.kill().await;
        }
        sleep(AWAY).await;
        let missed = plant.tally.all_strokes() - before;
        self.narrator
            .say("gateway", &format!("starts again; {missed} strokes were made meanwhile"));
        let gateway = Gateway::start(&plant.configuration).await?;
        self.desk.send_replace(Some(gateway.site().clone()));
        self.telling = Some(self.narrator.follow(Arc::clone(gateway.ledger())));
        self.gateway = Some(gateway);
        Ok(())
    }

    /// Waits until the gateway knows all that the machines did, or gives up: the summary will tell.
    async fn catch_up(&self, tally: &Tally) {
        let deadline = Instant::now() + CATCH_UP;
        while Instant::now() < deadline {
            let Some(site) = self.gateway.as_ref().map(Gateway::site) else {
                return;
            };
            let done = tally.count();
            if site.look(move |site, _| knows(site, &done)).await.unwrap_or(false) {
                return;
            }
            sleep(Duration::from_millis(100)).await;
        }
    }

    async fn close(mut self, plant: &Plant) -> anyhow::Result<bool> {
        self.desk.send_replace(None);
        if let Some(telling) = self.telling.take() {
            telling.abort();
            let _ = telling.await;
        }
        if let Some(gateway) = self.gateway.take() {
            let left = gateway.stop(DRAIN).await?;
            anyhow::ensure!(
                left.links == 0 && left.unwritten == 0,
                "the gateway did not end in time: {left:?}"
            );
        }
        let said = ledger_says(&plant.configuration).await?;
        Ok(compare(&plant.tally, &said))
    }
}
