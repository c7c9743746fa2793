//! What a machine on trial counted, beside what a person counted by hand.

use std::collections::BTreeMap;

use serde::{Deserialize, Serialize};

use super::{Trial, Tried};
use crate::plant::Counted;
use crate::time::Timestamp;

/// Where the counters of a machine on trial stood at a moment.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Mark {
    /// When its trial had begun.
    pub trial: Timestamp,
    /// Strokes it had told of as they were done.
    pub reported: u64,
    /// How its counters stood.
    pub counters: BTreeMap<String, Counts>,
}

/// How a counter stood.
#[derive(Debug, Clone, Copy, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(deny_unknown_fields)]
pub struct Counts {
    /// How far its values had moved in all.
    pub moved: u64,
    /// What would have been counted.
    pub counted: u64,
    /// Reads that were set aside.
    pub doubted: u64,
}

/// One way in which the machine counts, beside the count by hand.
#[derive(Debug, Clone, PartialEq, Eq, Serialize)]
pub struct Compared {
    /// The counter; none for strokes that are told as they are done.
    pub counter: Option<String>,
    /// Strokes by the machine.
    pub by_machine: u64,
    /// Strokes by hand.
    pub by_hand: u64,
    /// True when the two are the same.
    pub agrees: bool,
    /// The difference in words, with what to check.
    pub words: String,
}

impl Trial {
    /// How its counters stand, to compare from here on.
    #[must_use]
    pub fn mark(&self) -> Mark {
        let counters = self.counters.iter().map(|(name, tried)| (name.clone(), tried.counts()));
        Mark { trial: self.since, reported: self.reported, counters: counters.collect() }
    }

    /// Compares strokes counted by hand with each way in which the machine counts strokes, since
    /// the mark or else since the trial began.
    ///
    /// # Errors
    /// When the mark is of another trial, or the machine counts no strokes.
    pub fn compare(&self, by_hand: u64, since: Option<&Mark>) -> Result<Vec<Compared>, String> {
        if since.is_some_and(|mark| mark.trial != self.since) {
            return Err("this trial began after that mark was set: set another one, and count \
                        from there"
                .to_owned());
        }
        let mut all = Vec::new();
        for (name, tried) in &self.counters {
            if tried.counts == Counted::Strokes {
                let before = since.and_then(|mark| mark.counters.get(name)).copied();
                let counts = tried.counts().since(before.unwrap_or_default());
                all.push(compared(Some(name.as_str()), counts, by_hand));
            }
        }
        let reports = self.heard.keys().any(|(kind, _)| *kind == "strokes-done");
        if reports {
            let before = since.map_or(0, |mark| mark.reported);
            let counted = self.reported.saturating_sub(before);
            let counts = Counts { moved: counted, counted, doubted: 0 };
            all.push(compared(None, counts, by_hand));
        }
        if all.is_empty() {
            return Err("it has told of no strokes yet: see that its link is up and that a point \
                        or message gives stroke-total, stroke-contact or strokes-done"
                .to_owned());
        }
        Ok(all)
    }
}

impl Tried {
    fn counts(&self) -> Counts {
        Counts { moved: self.moved, counted: self.counted, doubted: self.doubted }
    }
}

impl Counts {
    fn since(self, before: Self) -> Self {
        Self {
            moved: self.moved.saturating_sub(before.moved),
            counted: self.counted.saturating_sub(before.counted),
            doubted: self.doubted.saturating_sub(before.doubted),
        }
    }
}

fn compared(counter: Option<&str>, counts: Counts, by_hand: u64) -> Compared {
    let by_machine = counts.counted;
    let words =
        format!("{by_hand} by hand, {by_machine} by the machine: {}", verdict(counts, by_hand));
    let agrees = by_machine == by_hand;
    Compared { counter: counter.map(str::to_owned), by_machine, by_hand, agrees, words }
}

/// What a difference most likely means. Common practice in commissioning; no published source.
fn verdict(Counts { moved, counted, doubted }: Counts, by_hand: u64) -> String {
    let word = u64::from(u16::MAX) + 1;
    if counted == by_hand {
        return if doubted == 0 {
            "they agree".to_owned()
        } else {
            format!("they agree, but {doubted} reads could not be: look for a value that flickers")
        };
    }
    if moved == 0 {
        return "its value has not moved: check the table and address, and whether the printer \
                counts in this mode"
            .to_owned();
    }
    if by_hand > 0 && moved >= word && moved.is_multiple_of(word) {
        return "its value moves by 65536 at a time: the words stand in the other order, change \
                `words`"
            .to_owned();
    }
    if doubted > 0 {
        return format!(
            "{doubted} reads jumped further than the printer can work: check type, address and \
             fastest-cycle"
        );
    }
    if counted == by_hand.saturating_mul(2) {
        "twice as many: does it count each squeegee stroke and the person each board?".to_owned()
    } else if counted.saturating_mul(2) == by_hand {
        "half as many: does it count boards, and each is printed twice?".to_owned()
    } else if counted.abs_diff(by_hand) == 1 {
        "one apart: a stroke at the beginning or end of the count; count over more strokes"
            .to_owned()
    } else {
        let apart = counted.abs_diff(by_hand);
        let more = if counted > by_hand { "more" } else { "fewer" };
        format!("{apart} {more}: count again from a new mark, and check what the counter counts")
    }
}
