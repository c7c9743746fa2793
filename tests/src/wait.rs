//! Waiting for something to become true.

use std::fmt::Display;
use std::time::{Duration, Instant};

/// Between two looks.
const STEP: Duration = Duration::from_millis(10);

/// Looks again and again until `look` gives a value, and returns it.
///
/// `look` answers `Err` with what it sees instead, which is shown when the time is up.
///
/// # Panics
/// When `limit` passes without a value.
pub async fn eventually<T, W, F>(what: &str, limit: Duration, mut look: F) -> T
where
    W: Display,
    F: AsyncFnMut() -> Result<T, W>,
{
    let start = Instant::now();
    loop {
        match look().await {
            Ok(value) => return value,
            Err(seen) if start.elapsed() >= limit => {
                panic!("waited {limit:?} in vain: {what}; last seen: {seen}")
            }
            Err(_) => tokio::time::sleep(STEP).await,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[tokio::test]
    async fn gives_the_value_once_there_is_one() {
        let mut looks = 0;
        let value = eventually("three looks", Duration::from_secs(5), async || {
            looks += 1;
            if looks == 3 { Ok("there") } else { Err(looks) }
        })
        .await;
        assert_eq!((value, looks), ("there", 3));
    }

    #[tokio::test]
    #[should_panic(expected = "the moon is full; last seen: half")]
    async fn says_what_was_seen_when_time_is_up() {
        let look = async || Err::<(), _>("half");
        eventually("the moon is full", Duration::ZERO, look).await;
    }
}
