//! When two states of the model are one: their canonical key.
//!
//! The key is made of everything that a state is made of, as its debug text has it, so nothing can
//! be forgotten. Left out is only what no rule looks at, and what is said by how far apart things
//! are is said so:
//!
//! * No rule looks at an alarm, or at what alarms follow from.
//! * Times only matter by how they lie to each other and to the present, and spans longer than
//!   every limit are alike. So times are sorted, and no gap between two neighbours is taken longer
//!   than twice the longest limit: a difference below every limit keeps its value, one above every
//!   limit stays above.
//! * Of an event's place only the order of those that are compared matters: the last washes, open
//!   and corrected strokes, annulled washes. They are numbered in that order. Places that are only
//!   cited as the cause of something are left out, and so are times since when something holds
//!   that no rule looks at.

use std::fmt::Write;
use std::hash::{DefaultHasher, Hash, Hasher};

use super::floor::LONGEST;
use super::node::Node;

/// No gap is taken longer, ms.
const GAP: i64 = 2 * LONGEST * 1_000;

/// A text with its numbers taken out.
#[derive(Default)]
struct Parts<'a> {
    words: Vec<&'a str>,
    times: Vec<i64>,
    places: Vec<i64>,
}

/// The key of a node.
pub(crate) fn key(node: &Node, text: &mut String) -> u128 {
    text.clear();
    let (site, floor, truth, last) = (&node.site, &node.floor, &node.truth, node.last_words());
    write!(text, "{site:?}").expect("a text grows");
    let state = text.find("state: State {").expect("a site has a state");
    let origin = text.rfind(", origin: Origin {").expect("a site has an origin");
    text.truncate(origin);
    text.drain(..state);
    let alarms = text.find(", alarms: Alarms {").expect("a state has alarms");
    let digest = text.find(", digest: ").expect("a state has a digest");
    text.drain(alarms..digest);
    write!(text, "{floor:?}{truth:?}{last:?}").expect("a text grows");
    let mut parts = Parts::default();
    parts.take(text);
    parts.times = relative(&parts.times, node.now.0);
    parts.places = ranks(&parts.places);
    let mut hasher = DefaultHasher::new();
    (&parts.words, &parts.times, &parts.places).hash(&mut hasher);
    let first = hasher.finish();
    1u64.hash(&mut hasher);
    u128::from(first) << 64 | u128::from(hasher.finish())
}

impl<'a> Parts<'a> {
    fn take(&mut self, text: &'a str) {
        let (mut rest, mut of_wash) = (text, false);
        while let Some(at) = rest.find(['T', 'P']) {
            let (before, after) = rest.split_at(at);
            let time = after.strip_prefix("Timestamp(");
            let place = after.strip_prefix("Position(");
            let Some((number, left)) = time.or(place).and_then(|text| text.split_once(')')) else {
                let (word, left) = rest.split_at(at + 1);
                self.words.push(word);
                rest = left;
                continue;
            };
            let number: i64 = number.parse().expect("a number");
            self.words.push(before);
            if time.is_some() {
                of_wash = before.ends_with(WASHED);
                self.times.extend(is_looked_at(before, left).then_some(number));
            } else {
                let kept = std::mem::take(&mut of_wash) || is_compared(before);
                self.places.extend(kept.then_some(number));
            }
            rest = left;
        }
        self.words.push(rest);
    }
}

/// False for the time since when something holds that is asked for by itself, not by its age.
fn is_looked_at(before: &str, after: &str) -> bool {
    let since = before.ends_with("since: ") && after.starts_with(", because: ");
    !since || before.ends_with("value: (), since: ") || before.contains("Seat {")
}

/// Before the time and the place of a last wash.
const WASHED: &str = "last_wash: Some(Sourced { value: (), since: ";

/// False for a place that is only cited.
fn is_compared(before: &str) -> bool {
    !(before.ends_with("taken: Some(")
        || before.ends_with("retired: Some(")
        || before.ends_with("head: ")
        || before.ends_with("because: "))
}

/// Times by how they lie to the present, no gap longer than [`GAP`].
fn relative(times: &[i64], now: i64) -> Vec<i64> {
    let mut sorted: Vec<i64> = times.iter().copied().chain([now]).collect();
    sorted.sort_unstable();
    sorted.dedup();
    let mut at = 0;
    let mut places = vec![0];
    for pair in sorted.windows(2) {
        at += pair[1].saturating_sub(pair[0]).min(GAP);
        places.push(at);
    }
    let place = |time: &i64| places[sorted.binary_search(time).expect("a known time")];
    let present = place(&now);
    times.iter().map(|time| place(time) - present).collect()
}

/// Numbers by their order.
fn ranks(numbers: &[i64]) -> Vec<i64> {
    let mut sorted = numbers.to_vec();
    sorted.sort_unstable();
    sorted.dedup();
    let rank = |number: &i64| sorted.binary_search(number).expect("a known number");
    numbers.iter().map(|number| rank(number) as i64).collect()
}
