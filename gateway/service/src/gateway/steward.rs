//! The steward of the links: reads the configuration anew, one time after the other, and lets
//! only those links end and begin that it changes.

use std::path::PathBuf;
use std::sync::Arc;

use stencilward_config::{Change, Configuration};
use stencilward_domain::site::Replan;
use stencilward_ledger::Ledger;
use stencilward_web::{Fault, NotReloaded, ReloadAsk, Reloaded};
use tokio::sync::{mpsc, oneshot};
use tokio_util::sync::CancellationToken;

use super::links::Links;
use super::owing::owe_only_the_told;
use crate::keeper::Replanned;
use crate::notices::Told;

/// Changes that the ledger notes one by one.
const MOST_NOTED: usize = 50;

/// What the steward works with.
pub(super) struct Steward {
    /// Where the configuration comes from, if from a file.
    pub(super) file: Option<PathBuf>,
    /// The one in force.
    pub(super) configuration: Configuration,
    pub(super) ledger: Arc<dyn Ledger>,
    pub(super) links: Links,
    pub(super) replans: mpsc::Sender<Replanned>,
    pub(super) asks: mpsc::Receiver<ReloadAsk>,
    /// Cancelled when the links shall end.
    pub(super) stop: CancellationToken,
}

/// Why it went no further.
enum Ended {
    /// The old configuration stays in force.
    Refused(NotReloaded),
    /// The gateway is stopping.
    Stopping,
}

impl From<NotReloaded> for Ended {
    fn from(why: NotReloaded) -> Self {
        Self::Refused(why)
    }
}

impl Steward {
    /// Works until the links shall end, and until they have.
    pub(super) async fn run(mut self) {
        let stop = self.stop.clone();
        while let Some(Some(ask)) = stop.run_until_cancelled(self.asks.recv()).await {
            match self.reload(ask.preview, ask.by).await {
                Ok(reloaded) => drop(ask.answer.send(Ok(reloaded))),
                Err(Ended::Refused(why)) => {
                    if !ask.preview {
                        tell(&why);
                    }
                    drop(ask.answer.send(Err(why)));
                }
                Err(Ended::Stopping) => break,
            }
        }
        // Whoever still asks is told that the gateway is stopping.
        drop(self.asks);
        self.links.ended().await;
    }

    async fn reload(&mut self, preview: bool, by: Option<String>) -> Result<Reloaded, Ended> {
        let new = self.read().await?;
        let changes = self.configuration.changes(&new);
        fixed(&changes)?;
        let wires = new.wires();
        let reloaded = Reloaded {
            digest: new.digest.clone(),
            changes: changes.iter().map(|change| change.words.clone()).collect(),
            links: self.links.outlook(&wires),
        };
        if preview {
            return Ok(reloaded);
        }
        let replan = Replan {
            plant: new.plant(),
            changes: noted(&reloaded.changes),
            by,
            ended: self.links.end_all_but(&wires).await,
        };
        self.replan(replan, &new).await?;
        owe_only_the_told(&*self.ledger, &new).await;
        self.links.begin(self.links.missing(&wires));
        self.configuration = new;
        for change in &reloaded.changes {
            tracing::info!("reload: {change}");
        }
        let links = &reloaded.links;
        let (kept, begun, ended) = (links.kept.len(), links.begun.len(), links.ended.len());
        let changes = reloaded.changes.len();
        tracing::info!(changes, kept, begun, ended, "reloaded: the new configuration is in force");
        Ok(reloaded)
    }

    async fn read(&self) -> Result<Configuration, Ended> {
        let file = self.file.clone().ok_or(NotReloaded::NoFile)?;
        let loading = tokio::task::spawn_blocking(move || stencilward_config::load(&file));
        let loaded = loading.await.unwrap_or_else(|_| {
            let wrong = "the reader broke on it: please report";
            Err(vec![stencilward_config::Fault::of_file("the configuration", wrong)])
        });
        Ok(loaded.map_err(|faults| NotReloaded::Faulty(faults.into_iter().map(told).collect()))?)
    }

    /// Has the site work by the new plant, and waits until that is durable.
    async fn replan(&self, replan: Replan, new: &Configuration) -> Result<(), Ended> {
        let (done, durable) = oneshot::channel();
        let handed = self.replans.send(Replanned { replan, told: Told::by(new), done }).await;
        handed.map_err(|_| Ended::Stopping)?;
        match self.stop.run_until_cancelled(durable).await {
            Some(Ok(())) => Ok(()),
            _ => Err(Ended::Stopping),
        }
    }
}

/// Refuses what only a start can change.
fn fixed(changes: &[Change]) -> Result<(), Ended> {
    let reasons = changes.iter().filter_map(|change| {
        let why = match (change.of.as_str(), change.key.as_deref()?) {
            ("the plant", "listen") => "programs are connected there",
            ("the plant", "zone" | "language") => "pages are shown by it",
            ("the plant", "ledger") => "what was counted is in there",
            ("the plant", key) if is_or_below(key, "archive") => "old events are moved by it",
            ("the plant", key) if is_or_below(key, "metrics") => "its series are there",
            ("the plant", key) if is_or_below(key, "tls") => "programs are connected by it",
            ("the plant", key) if is_or_below(key, "sign-in") => "people signed in by it",
            _ => return None,
        };
        Some(format!(
            "{}, which cannot change while the gateway runs, because {why}: change it back and \
             reload, or start the gateway again",
            change.words
        ))
    });
    let reasons: Vec<String> = reasons.collect();
    if reasons.is_empty() { Ok(()) } else { Err(NotReloaded::Fixed(reasons).into()) }
}

fn is_or_below(key: &str, of: &str) -> bool {
    key.strip_prefix(of).is_some_and(|rest| rest.is_empty() || rest.starts_with(['.', '[']))
}

/// The changes as the ledger notes them.
fn noted(changes: &[String]) -> Vec<String> {
    let more = changes.len().saturating_sub(MOST_NOTED);
    let more = (more > 0).then(|| format!("and {more} more"));
    changes.iter().take(MOST_NOTED).cloned().chain(more).collect()
}

/// Logs why the old configuration stays in force.
fn tell(why: &NotReloaded) {
    match why {
        NotReloaded::Faulty(faults) => {
            for Fault { file, line, key, fault } in faults {
                let line = line.map(|line| format!(":{line}")).unwrap_or_default();
                tracing::error!("reload: {file}{line}: {key}: {fault}");
            }
            let faults = faults.len();
            tracing::error!(faults, "not reloaded: the old configuration stays in force");
        }
        NotReloaded::Fixed(reasons) => {
            reasons.iter().for_each(|reason| tracing::error!("not reloaded: {reason}"));
        }
        NotReloaded::NoFile => {
            tracing::error!("not reloaded: the gateway was not started from a file");
        }
    }
}

fn told(fault: stencilward_config::Fault) -> Fault {
    let allowed = fault.allowed.map(|allowed| format!("; allowed: {allowed}"));
    Fault {
        file: fault.file,
        line: fault.line,
        key: fault.path,
        fault: fault.wrong + &allowed.unwrap_or_default(),
    }
}
