//! `stencilward import FILE LIST`: takes a stencil list in, whole or not at all.

mod remote;

use std::path::PathBuf;
use std::process::ExitCode;
use std::sync::Arc;

use anyhow::Context as _;
use stencilward_adapters::link::now;
use stencilward_config::Configuration;
use stencilward_domain::event::Position;
use stencilward_domain::site::{Reply, Site};
use stencilward_exchange::stencils::{self, List, Plan};
use stencilward_exchange::{Form, RowFault};
use stencilward_ledger::{Ledger, OpenError, Reader, SqliteLedger};
use tracing_subscriber::filter::LevelFilter;

use crate::journal::Journal;
use crate::logging::{self, LogFormat};
use crate::metrics::Metrics;
use crate::replay::{Pages, read_through};

/// What to take in.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The configuration file.
    file: PathBuf,
    /// The list: JSON lines when it ends with .jsonl or .ndjson, else CSV.
    list: PathBuf,
    /// Tell every row's fault and what would change, and change nothing.
    #[arg(long)]
    dry_run: bool,
    /// Who takes it in: the source of counts for which the list names none.
    #[arg(long, value_name = "NAME")]
    by: Option<String>,
}

/// What became of a list.
struct Outcome {
    new: u64,
    revised: u64,
    same: u64,
    faults: Vec<String>,
    changes: Vec<String>,
}

impl From<&Plan> for Outcome {
    fn from(plan: &Plan) -> Self {
        let changes = plan.revised.iter().map(|revised| {
            let (line, stencil) = (revised.line, &revised.listed.spec.stencil);
            format!("line {line}: {stencil}: {}", revised.changes.join(", "))
        });
        Self {
            new: plan.new.len() as u64,
            revised: plan.revised.len() as u64,
            same: plan.same as u64,
            faults: plan.faults.iter().map(RowFault::to_string).collect(),
            changes: changes.collect(),
        }
    }
}

/// Takes the list in, or tells what is wrong with it.
pub(super) fn import(arguments: &Arguments, log: LogFormat) -> ExitCode {
    let configuration = match super::load(&arguments.file) {
        Ok(configuration) => configuration,
        Err(status) => return status,
    };
    logging::start(log, LevelFilter::INFO);
    match arguments.import(&configuration) {
        Ok(outcome) => arguments.tell(&outcome),
        Err(error) => {
            eprintln!("{error:#}");
            ExitCode::FAILURE
        }
    }
}

impl Arguments {
    fn import(&self, configuration: &Configuration) -> anyhow::Result<Outcome> {
        let name = self.list.display().to_string();
        let bytes = std::fs::read(&self.list).with_context(|| format!("cannot read {name}"))?;
        let form = Form::of_file(&name);
        let list = stencils::read(form, &bytes);
        if self.dry_run || !list.faults.is_empty() {
            return Ok(Outcome::from(&self.plan(&list, &looked_at(configuration)?)));
        }
        let runtime = tokio::runtime::Runtime::new()?;
        super::must_own(&configuration.ledger)?;
        match SqliteLedger::open(&configuration.ledger) {
            Ok(ledger) => {
                let plan = runtime.block_on(self.take_in(configuration, &list, ledger))?;
                Ok(Outcome::from(&plan))
            }
            Err(OpenError::InUse) if configuration.tls.is_some() => anyhow::bail!(
                "a gateway has the ledger and speaks TLS, which this command does not: send the \
                 list to its API, /api/v1/import/stencils, or stop it and import again"
            ),
            Err(OpenError::InUse) => {
                let by = self.by.as_deref();
                runtime.block_on(remote::import(&configuration.listen, form, bytes, by))
            }
            Err(error) => {
                let file = configuration.ledger.display();
                Err(error).with_context(|| format!("cannot open the ledger {file}"))
            }
        }
    }

    fn plan(&self, list: &List, site: &Site) -> Plan {
        let by = self.by.as_deref().map(str::trim).filter(|by| !by.is_empty());
        let source = by.map_or_else(|| "imported".to_owned(), |by| format!("imported by {by}"));
        stencils::plan(list, site, &source)
    }

    /// Does on a ledger that nobody has what a gateway would: starts, takes in, stops.
    async fn take_in(
        &self,
        configuration: &Configuration,
        list: &List,
        ledger: SqliteLedger,
    ) -> anyhow::Result<Plan> {
        let ledger: Arc<dyn Ledger> = Arc::new(ledger);
        let mut site = Site::new(configuration.plant());
        let mut pages = Pages::of(&*ledger, Position(0), *ledger.head().borrow());
        while let Some(page) = pages.next().await? {
            page.iter().for_each(|entry| site.replay(&entry.recorded));
        }
        let versions = ledger.versions().await?;
        site.start(env!("CARGO_PKG_VERSION"), now());
        let plan = self.plan(list, &site);
        if let Some(request) = plan.request() {
            if let Reply::Refused(why) = site.ask(&request, now()) {
                anyhow::bail!(why);
            }
            site.stop(now());
            let metrics = Arc::new(Metrics::new()?);
            let mut journal = Journal::new(Arc::clone(&ledger), metrics, versions);
            let round = journal.prepare(site.take_fresh());
            journal.write(&round, &[]).await?;
        }
        ledger.close().await;
        Ok(plan)
    }

    fn tell(&self, outcome: &Outcome) -> ExitCode {
        let list = self.list.display();
        for fault in &outcome.faults {
            eprintln!("{list}: {fault}");
        }
        if self.dry_run {
            outcome.changes.iter().for_each(|change| println!("{list}: {change}"));
        }
        let Outcome { new, revised, same, faults, .. } = outcome;
        let counts = format!("{new} new, {revised} changed, {same} known just so");
        match (faults.len(), self.dry_run) {
            (0, true) => println!("{list}: no fault; would take in: {counts}"),
            (0, false) => println!("{list}: taken in: {counts}"),
            (faults, _) => {
                let s = if faults == 1 { "" } else { "s" };
                eprintln!("{faults} fault{s}: nothing is taken in");
                return ExitCode::FAILURE;
            }
        }
        ExitCode::SUCCESS
    }
}

/// The site as the ledger and the configuration have it now, whoever has the ledger.
fn looked_at(configuration: &Configuration) -> anyhow::Result<Site> {
    let mut site = Site::new(configuration.plant());
    match Reader::open(&configuration.ledger) {
        Ok(mut ledger) => read_through(&mut ledger, |entry| {
            site.replay(&entry.recorded);
            anyhow::Ok(())
        })?,
        Err(OpenError::Missing(_)) => {}
        Err(error) => return Err(error.into()),
    }
    site.start(env!("CARGO_PKG_VERSION"), now());
    Ok(site)
}
