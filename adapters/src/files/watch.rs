//! Which files have come to rest: pure.

use std::collections::BTreeMap;
use std::time::{Duration, Instant, SystemTime};

/// A file as the folder lists it.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Entry {
    pub(super) name: String,
    /// Bytes.
    pub(super) length: u64,
    pub(super) modified: SystemTime,
}

/// The files in the folder, and since when each has been as it is.
#[derive(Debug, Default)]
pub(super) struct Watch(BTreeMap<String, (Entry, Instant)>);

impl Watch {
    /// Takes in what the folder lists now. Gives what has not changed for `settle`, oldest first.
    pub(super) fn settled(
        &mut self,
        listed: Vec<Entry>,
        now: Instant,
        settle: Duration,
    ) -> Vec<Entry> {
        let mut before = std::mem::take(&mut self.0);
        for entry in listed {
            let since = match before.remove(&entry.name) {
                Some((known, since)) if known == entry => since,
                _ => now,
            };
            self.0.insert(entry.name.clone(), (entry, since));
        }
        let rested = self.0.values().filter(|(_, since)| now.duration_since(*since) >= settle);
        let mut rested: Vec<Entry> = rested.map(|(entry, _)| entry.clone()).collect();
        rested.sort_by_key(|entry| entry.modified);
        rested
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const SETTLE: Duration = Duration::from_secs(10);

    fn entry(name: &str, length: u64, modified: u64) -> Entry {
        let modified = SystemTime::UNIX_EPOCH + Duration::from_secs(modified);
        Entry { name: name.to_owned(), length, modified }
    }

    #[test]
    fn a_file_that_grows_is_left_until_it_rests() {
        let (start, mut watch) = (Instant::now(), Watch::default());
        let mut look = |second, listed: &[Entry]| {
            watch.settled(listed.to_vec(), start + Duration::from_secs(second), SETTLE)
        };
        assert_eq!(look(0, &[entry("a", 1, 0)]), []);
        assert_eq!(look(9, &[entry("a", 2, 9)]), [], "it grew");
        assert_eq!(look(18, &[entry("a", 2, 10)]), [], "it was written to");
        assert_eq!(look(27, &[entry("a", 2, 10)]), [], "nine seconds are too few");
        assert_eq!(look(28, &[entry("a", 2, 10)]), [entry("a", 2, 10)]);
        assert_eq!(look(29, &[]), [], "it is gone");
        assert_eq!(look(30, &[entry("a", 2, 10)]), [], "and here again");
    }

    #[test]
    fn the_oldest_comes_first() {
        let (start, mut watch) = (Instant::now(), Watch::default());
        let all = vec![entry("a", 1, 3), entry("b", 1, 1), entry("c", 1, 2)];
        watch.settled(all.clone(), start, SETTLE);
        let rested = watch.settled(all, start + SETTLE, SETTLE);
        let names: Vec<&str> = rested.iter().map(|entry| entry.name.as_str()).collect();
        assert_eq!(names, ["b", "c", "a"]);
    }
}
