//! Waiting for something that surely comes: never for luck, and never for ever.

use std::future::Future;
use std::time::Duration;

/// Longest wait for anything: long enough for a busy computer, never used up otherwise.
pub(crate) const PATIENCE: Duration = Duration::from_secs(25);

pub(crate) async fn within<T>(what: &str, future: impl Future<Output = T>) -> T {
    match tokio::time::timeout(PATIENCE, future).await {
        Ok(value) => value,
        Err(_) => panic!("waited in vain for {what}"),
    }
}

/// Waits until something is so.
pub(crate) async fn until(what: &str, mut is_so: impl FnMut() -> bool) {
    within(what, async {
        while !is_so() {
            tokio::time::sleep(Duration::from_millis(2)).await;
        }
    })
    .await;
}
