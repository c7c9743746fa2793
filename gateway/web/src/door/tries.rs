//! Tries that failed: each further one of the same name or address makes it wait longer
//! (ASVS 5.0, 6.3.1). Whether a name is known makes no difference.

use std::collections::HashMap;
use std::hash::Hash;
use std::net::IpAddr;
use std::time::{Duration, Instant};

/// Failures of one name before it waits.
const FREE_BY_NAME: u32 = 3;
/// Failures from one address before it waits: a shared station is many people's.
const FREE_BY_ADDRESS: u32 = 10;
/// The first wait; each further failure doubles it.
const FIRST_WAIT: Duration = Duration::from_secs(2);
/// Longest wait. Nobody is locked out for good: that would let anybody lock out everybody.
const LONGEST_WAIT: Duration = Duration::from_secs(15 * 60);
/// Failures are forgotten when there was none for so long.
const MEMORY: Duration = Duration::from_secs(60 * 60);
/// Most names, and addresses, remembered at a time.
const MOST: usize = 10_000;

struct Failed {
    count: u32,
    last: Instant,
}

impl Failed {
    fn wait(&self, free: u32) -> Duration {
        let Some(over) = (self.count + 1).checked_sub(free).filter(|over| *over > 0) else {
            return Duration::ZERO;
        };
        let doubled = FIRST_WAIT.checked_mul(1_u32.checked_shl(over - 1).unwrap_or(u32::MAX));
        doubled.unwrap_or(LONGEST_WAIT).min(LONGEST_WAIT)
    }
}

/// Failures of late.
#[derive(Default)]
pub(super) struct Tries {
    by_name: HashMap<String, Failed>,
    by_address: HashMap<IpAddr, Failed>,
}

impl Tries {
    /// May it be tried now. Counts the try as failed until [`Self::worked`] says otherwise, so
    /// that many at once are no way around the wait.
    pub(super) fn begin(&mut self, name: &str, from: Option<IpAddr>, now: Instant) -> bool {
        let name = name.trim().to_lowercase();
        let free = may(&self.by_name, &name, FREE_BY_NAME, now)
            && from.is_none_or(|from| may(&self.by_address, &from, FREE_BY_ADDRESS, now));
        if free {
            note(&mut self.by_name, name, now);
            if let Some(from) = from {
                note(&mut self.by_address, from, now);
            }
        }
        free
    }

    /// What was begun was right.
    pub(super) fn worked(&mut self, name: &str, from: Option<IpAddr>) {
        self.by_name.remove(&name.trim().to_lowercase());
        if let Some(failed) = from.and_then(|from| self.by_address.get_mut(&from)) {
            failed.count = failed.count.saturating_sub(1);
        }
    }
}

fn may<K: Hash + Eq>(all: &HashMap<K, Failed>, key: &K, free: u32, now: Instant) -> bool {
    all.get(key)
        .is_none_or(|failed| now.saturating_duration_since(failed.last) >= failed.wait(free))
}

fn note<K: Hash + Eq + Clone>(all: &mut HashMap<K, Failed>, key: K, now: Instant) {
    if all.len() >= MOST {
        all.retain(|_, failed| now.saturating_duration_since(failed.last) < MEMORY);
        // Still full: those that failed least make room, else any.
        if all.len() >= MOST {
            all.retain(|_, failed| failed.count > FREE_BY_NAME);
        }
        if all.len() >= MOST
            && let Some(any) = all.keys().next().cloned()
        {
            all.remove(&any);
        }
    }
    let failed = all.entry(key).or_insert(Failed { count: 0, last: now });
    if now.saturating_duration_since(failed.last) >= MEMORY {
        failed.count = 0;
    }
    failed.count = failed.count.saturating_add(1);
    failed.last = now;
}

#[cfg(test)]
mod tests {
    use super::*;

    const HERE: Option<IpAddr> = Some(IpAddr::V4(std::net::Ipv4Addr::new(192, 0, 2, 7)));
    const THERE: Option<IpAddr> = Some(IpAddr::V4(std::net::Ipv4Addr::new(192, 0, 2, 8)));

    fn seconds(count: u64) -> Duration {
        Duration::from_secs(count)
    }

    /// Fails until it must wait, and says how long.
    fn waits(tries: &mut Tries, name: &str, now: &mut Instant) -> u64 {
        assert!(tries.begin(name, None, *now));
        let begun = *now;
        while !tries.begin(name, None, *now) {
            *now += seconds(1);
        }
        tries.worked("nobody", None);
        (*now - begun).as_secs()
    }

    #[test]
    fn the_wait_grows_and_ends() {
        let (mut tries, mut now) = (Tries::default(), Instant::now());
        for _ in 0..2 {
            assert!(tries.begin("anna", HERE, now));
        }
        assert!(tries.begin(" Anna ", HERE, now), "the third is free");
        for wait in [2, 4, 8, 16, 32, 64, 128, 256, 512, 900, 900] {
            assert!(!tries.begin("anna", THERE, now), "from anywhere");
            assert!(!tries.begin("anna", THERE, now + seconds(wait) - seconds(1)));
            assert!(tries.begin("ben", THERE, now), "others are not kept waiting");
            tries.worked("ben", THERE);
            now += seconds(wait);
            assert!(tries.begin("anna", None, now), "{wait}");
        }
    }

    #[test]
    fn what_worked_is_forgotten() {
        let (mut tries, mut now) = (Tries::default(), Instant::now());
        for _ in 0..3 {
            assert!(tries.begin("anna", HERE, now));
        }
        assert!(!tries.begin("anna", HERE, now));
        now += seconds(2);
        assert!(tries.begin("anna", HERE, now));
        tries.worked("anna", HERE);
        assert!(tries.begin("anna", HERE, now));
        assert_eq!(waits(&mut tries, "carl", &mut now), 0);
    }

    #[test]
    fn an_address_waits_whatever_names_it_tries() {
        let (mut tries, now) = (Tries::default(), Instant::now());
        for count in 0..10 {
            assert!(tries.begin(&format!("name {count}"), HERE, now));
        }
        assert!(!tries.begin("another", HERE, now));
        assert!(tries.begin("another", THERE, now));
    }

    #[test]
    fn memory_is_bounded() {
        let (mut tries, now) = (Tries::default(), Instant::now());
        for count in 0..3 * MOST {
            tries.begin(&format!("name {count}"), None, now);
        }
        assert!(tries.by_name.len() <= MOST);
    }
}
