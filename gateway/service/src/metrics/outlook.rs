//! What is to come of each stencil, looked at again every few seconds.

use std::collections::BTreeSet;
use std::sync::Arc;
use std::time::Duration;

use stencilward_adapters::link::now;
use stencilward_domain::names::StencilCode;
use stencilward_domain::time::Timestamp;
use stencilward_web::{Archive, Coming, Outlook};
use tokio_util::sync::CancellationToken;

use super::Metrics;
use super::series::show_instant;

const AGAIN: Duration = Duration::from_secs(10);

/// Shows the forecast of each stencil until told to stop, of at most so many.
pub(crate) async fn keep_outlook(
    metrics: Arc<Metrics>,
    archive: Arc<dyn Archive>,
    most: usize,
    stop: CancellationToken,
) {
    let mut shown: BTreeSet<StencilCode> = BTreeSet::new();
    loop {
        match archive.sums() {
            Ok(None) => {}
            Ok(Some(sums)) => {
                let known = sums.wear.outlooks.iter().take(most);
                let known: BTreeSet<StencilCode> = known
                    .map(|(code, outlook)| {
                        show(&metrics, code, Some(outlook));
                        code.clone()
                    })
                    .collect();
                for gone in shown.difference(&known) {
                    show(&metrics, gone, None);
                }
                shown = known;
            }
            Err(error) => tracing::warn!(%error, "the forecast in the metrics stays as it was"),
        }
        tokio::select! {
            () = stop.cancelled() => return,
            () = tokio::time::sleep(AGAIN) => {}
        }
    }
}

/// What has come shows as today: it asks for an order, or for the stencil to be retired.
fn show(metrics: &Metrics, code: &StencilCode, outlook: Option<&Outlook>) {
    let end = outlook.and_then(|outlook| match outlook.stop {
        Coming::Expected { day, .. } => Some(end_of(day)),
        Coming::Reached => Some(now()),
        Coming::NoDay(_) => None,
    });
    let reached = outlook.is_some_and(|outlook| outlook.stop == Coming::Reached);
    let order_by = outlook.and_then(|outlook| outlook.order_by).map(end_of);
    let order_by = order_by.or(end.filter(|_| reached));
    let families = &metrics.families;
    show_instant(&families.stencil_order_by, code.as_str(), order_by);
    show_instant(&families.stencil_end, code.as_str(), end);
}

/// The end of a calendar day counted from 1970-01-01.
fn end_of(day: i32) -> Timestamp {
    Timestamp((i64::from(day) + 1) * 86_400_000)
}
