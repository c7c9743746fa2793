//! Waiting on a thread of its own, where nothing may be awaited.

use std::time::{Duration, Instant};

use crate::patience::PATIENCE;

pub(crate) fn within_sync(what: &str, mut is_so: impl FnMut() -> bool) {
    let begun = Instant::now();
    while !is_so() {
        assert!(begun.elapsed() < PATIENCE, "waited in vain for {what}");
        std::thread::sleep(Duration::from_millis(2));
    }
}
