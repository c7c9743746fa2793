//! Moves old events out of the ledger's file while the gateway works, and shows what has moved.

use std::path::PathBuf;
use std::sync::Arc;
use std::time::Duration;

use stencilward_adapters::link::now;
use stencilward_config::Configuration;
use stencilward_ledger::{ArchiveError, LedgerError, Part, SqliteLedger};
use tokio_util::sync::CancellationToken;

use crate::metrics::Metrics;

/// Between two looks whether enough events are old.
const AGAIN: Duration = Duration::from_secs(3_600);

/// Who moves them.
pub(super) struct Archivist {
    ledger: Arc<SqliteLedger>,
    metrics: Arc<Metrics>,
    rule: Option<Rule>,
}

/// What moves, and where to.
struct Rule {
    older_than: Duration,
    at_least: u64,
    to: PathBuf,
}

impl Archivist {
    pub(super) fn new(
        ledger: Arc<SqliteLedger>,
        metrics: Arc<Metrics>,
        configuration: &Configuration,
    ) -> Self {
        let rule = configuration.archive.as_ref().map(|archive| Rule {
            older_than: archive.older_than.0,
            at_least: archive.at_least,
            to: archive.to.clone().unwrap_or_else(|| Part::usual_folder(&configuration.ledger)),
        });
        Self { ledger, metrics, rule }
    }

    /// Works until told to stop; a part that is half done is made anew the next time.
    pub(super) async fn run(self, stop: CancellationToken) {
        let work = async {
            self.show().await;
            let Some(rule) = &self.rule else { return };
            loop {
                if let Err(error) = self.archive(rule).await {
                    let error = crate::chain(&error);
                    tracing::error!("old events stay in the ledger's file: {error}");
                }
                tokio::time::sleep(AGAIN).await;
            }
        };
        stop.run_until_cancelled(work).await;
    }

    async fn archive(&self, rule: &Rule) -> Result<(), ArchiveError> {
        let last = self.ledger.last_before(now().minus(rule.older_than)).await?;
        while last.0 - self.archived().await? >= rule.at_least {
            let Some(part) = self.ledger.archive(last, &rule.to).await? else { return Ok(()) };
            tracing::info!("archived {part}");
            self.show().await;
        }
        Ok(())
    }

    /// Up to which event all have moved.
    async fn archived(&self) -> Result<u64, LedgerError> {
        Ok(self.ledger.parts().await?.last().map_or(0, |part| part.last.0))
    }

    async fn show(&self) {
        match self.ledger.parts().await {
            Ok(parts) => self.metrics.ledger_archive(&parts),
            Err(error) => tracing::warn!(%error, "the archive in the metrics stays as it was"),
        }
    }
}
