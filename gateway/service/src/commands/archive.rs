//! `stencilward archive FILE`: moves old events out of the ledger's file while no gateway runs, and
//! gives the room back to the disk.

use std::path::{Path, PathBuf};
use std::process::ExitCode;

use anyhow::Context as _;
use stencilward_adapters::link::now;
use stencilward_config::Configuration;
use stencilward_domain::event::Position;
use stencilward_domain::time::Timestamp;
use stencilward_ledger::{Ledger as _, OpenError, Part, SqliteLedger};

use super::report;

/// Which events, and where to.
#[derive(Debug, clap::Args)]
pub(super) struct Arguments {
    /// The configuration file.
    file: PathBuf,
    /// What was recorded before this time. RFC 3339, or a date, from its start; UTC unless an
    /// offset is given.
    #[arg(long, value_name = "TIME", value_parser = report::start)]
    before: Option<Timestamp>,
    /// What was recorded so long ago, such as 400days; unless given, what the configuration says.
    #[arg(long, value_name = "TIME", value_parser = super::span, conflicts_with = "before")]
    older_than: Option<std::time::Duration>,
    /// Into this folder; unless given, what the configuration says, else one beside the ledger.
    #[arg(long, value_name = "FOLDER")]
    to: Option<PathBuf>,
}

/// Archives, or says why nothing was moved.
pub(super) fn archive(arguments: &Arguments) -> ExitCode {
    let configuration = match super::load(&arguments.file) {
        Ok(configuration) => configuration,
        Err(status) => return status,
    };
    match arguments.archive(&configuration) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{error:#}");
            ExitCode::FAILURE
        }
    }
}

impl Arguments {
    fn archive(&self, configuration: &Configuration) -> anyhow::Result<()> {
        let (before, to) = (self.before(configuration)?, self.to(configuration)?);
        let file = &configuration.ledger;
        super::must_own(file)?;
        anyhow::ensure!(file.exists(), "there is no ledger {}: nothing to archive", file.display());
        let ledger = SqliteLedger::open(file).map_err(|error| match error {
            OpenError::InUse => anyhow::anyhow!(
                "a gateway has the ledger open: stop it first, or let it archive by itself with \
                 archive: {{ older-than: 400days }} in the configuration"
            ),
            error => error.into(),
        });
        let ledger =
            ledger.with_context(|| format!("nothing was moved out of {}", file.display()))?;
        let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build()?;
        runtime.block_on(move_out(&ledger, file, before, &to))
    }

    fn before(&self, configuration: &Configuration) -> anyhow::Result<Timestamp> {
        let usual = configuration.archive.as_ref().map(|archive| archive.older_than.0);
        match (self.before, self.older_than.or(usual)) {
            (Some(before), _) => Ok(before),
            (None, Some(age)) => Ok(now().minus(age)),
            (None, None) => anyhow::bail!(
                "say which events: --before 2025-01-01, or --older-than 400days, or set archive in \
                 the configuration"
            ),
        }
    }

    /// As an absolute path, since the ledger keeps it.
    fn to(&self, configuration: &Configuration) -> anyhow::Result<PathBuf> {
        let set = configuration.archive.as_ref().and_then(|archive| archive.to.clone());
        let to = self.to.clone().or(set);
        let to = to.unwrap_or_else(|| Part::usual_folder(&configuration.ledger));
        Ok(std::path::absolute(to)?)
    }
}

async fn move_out(
    ledger: &SqliteLedger,
    file: &Path,
    before: Timestamp,
    to: &Path,
) -> anyhow::Result<()> {
    let size = || std::fs::metadata(file).map_or(0, |file| file.len());
    let was = size();
    let last = ledger.last_before(before).await?;
    let mut events = 0;
    while let Some(part) = ledger.archive(last, to).await? {
        events += part.events();
        println!("{part}: {} bytes", part.size);
    }
    if events == 0 {
        println!("no event in {} is that old but those in its archive", file.display());
    }
    // Also what a run before had no room for.
    let shrunk = ledger.shrink().await;
    let head = *ledger.head().borrow();
    ledger.close().await;
    if let Err(error) = shrunk {
        eprintln!(
            "{} keeps its size, and new events take the room: {}; to shrink it, make room for \
             twice what it holds and archive again, with SQLITE_TMPDIR set to a folder that has it",
            file.display(),
            crate::chain(&error)
        );
    }
    let left = head.0 - last.0.min(head.0);
    let Position(last) = last;
    println!(
        "{events} events moved; {left} after #{last} stay in {}, {was} bytes before, {} now",
        file.display(),
        size()
    );
    Ok(())
}
