//! How many requests one address, one session or one program may send: a bucket each.

use std::collections::HashMap;
use std::hash::Hash;
use std::time::{Duration, Instant};

/// Most buckets at a time.
const MOST: usize = 10_000;

/// So many at once, and so many a second for ever.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Rate {
    /// At once.
    pub burst: u32,
    /// A second.
    pub steady: u32,
}

/// Buckets by whom they are of.
pub(super) struct Rates<K> {
    rate: Rate,
    buckets: HashMap<K, (f64, Instant)>,
}

impl<K: Hash + Eq> Rates<K> {
    pub(super) fn new(rate: Rate) -> Self {
        Self { rate, buckets: HashMap::new() }
    }

    /// Takes one request in.
    ///
    /// # Errors
    /// How long to wait for the next one.
    pub(super) fn take(&mut self, key: K, now: Instant) -> Result<(), Duration> {
        let (burst, steady) = (f64::from(self.rate.burst), f64::from(self.rate.steady));
        let filled = |(left, at): (f64, Instant)| {
            (left + now.saturating_duration_since(at).as_secs_f64() * steady).min(burst)
        };
        if self.buckets.len() >= MOST && !self.buckets.contains_key(&key) {
            self.buckets.retain(|_, bucket| filled(*bucket) < burst);
            if self.buckets.len() >= MOST {
                return Err(Duration::from_secs(1));
            }
        }
        let bucket = self.buckets.entry(key).or_insert((burst, now));
        let left = filled(*bucket);
        *bucket = (left, now);
        if left < 1.0 {
            return Err(Duration::from_secs_f64((1.0 - left) / steady.max(0.001)));
        }
        bucket.0 = left - 1.0;
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_burst_passes_then_the_steady_rate() {
        let (mut rates, now) = (Rates::new(Rate { burst: 3, steady: 2 }), Instant::now());
        for _ in 0..3 {
            assert_eq!(rates.take("a", now), Ok(()));
        }
        assert_eq!(rates.take("a", now), Err(Duration::from_millis(500)));
        assert_eq!(rates.take("b", now), Ok(()), "others are not kept waiting");
        let later = now + Duration::from_secs(1);
        assert_eq!(rates.take("a", later), Ok(()));
        assert_eq!(rates.take("a", later), Ok(()));
        assert!(rates.take("a", later).is_err());
    }
}
