//! The contract as tests, written once for every engine.
//!
//! An engine implements [`Place`] and calls [`contract_tests!`](crate::contract_tests) in a
//! test module; each check then is a test of its own. All data are invented.

#![allow(
    clippy::unwrap_used,
    clippy::missing_panics_doc,
    reason = "these are tests; a failure shall panic"
)]

mod appending;
mod closing;
mod crowd;
mod following;
mod model;
mod owing;
mod reading;
mod repeating;
mod walking;

use std::sync::Arc;
use std::time::Duration;

use async_trait::async_trait;
use stencilward_domain::event::{Event, Fact, Position, Stream};
use stencilward_domain::names::MachineName;
use stencilward_domain::time::Timestamp;

use crate::contract::{Append, Appended, BatchId, Entry, Ledger};
use crate::error::Refused;

pub use appending::*;
pub use closing::*;
pub use crowd::*;
pub use following::*;
pub use model::*;
pub use owing::*;
pub use reading::*;
pub use repeating::*;
pub use walking::*;

/// Longest time anything in the suite may take before it counts as hung.
pub const PATIENCE: Duration = Duration::from_secs(60);

/// Where one ledger is kept: empty when made, gone when dropped.
#[async_trait]
pub trait Place: Send + Sync {
    /// Opens the ledger kept here. What was opened before has been closed or dropped.
    async fn open(&self) -> Arc<dyn Ledger>;
}

/// Makes a test of each check of the contract; `$place` makes a new `suite::Place`.
#[macro_export]
macro_rules! contract_tests {
    ($place:expr) => {
        $crate::contract_tests! { @each $place;
            positions_run_on_from_one
            an_append_is_kept_whole_and_in_order
            a_stale_append_is_refused_whole
            an_append_ahead_of_its_stream_is_refused
            each_append_of_a_call_stands_for_itself
            appends_of_one_call_build_on_each_other
            senseless_appends_are_refused
            a_repeat_changes_nothing
            a_repeat_together_with_new_appends
            a_repeat_after_opening_again
            an_altered_repeat_is_refused
            the_same_batch_on_another_stream_is_another_append
            events_read_back_as_they_were
            pages_join_without_gap_or_overlap
            a_stream_reads_by_its_version
            versions_of_all_streams
            many_writers_make_one_order
            writers_of_one_stream_take_turns
            given_up_calls_are_kept_whole_or_not_at_all
            following_sees_each_event_once
            a_wait_given_up_loses_nothing
            following_ends_when_the_ledger_is_closed
            a_closed_ledger_takes_no_appends
            closing_makes_durable_what_was_handed_over
            what_was_acknowledged_is_there_after_a_drop
            the_chain_goes_on_after_opening_again
            what_is_owed_is_kept_with_its_cause
            a_repeat_or_a_refusal_owes_nothing_new
            a_state_takes_the_place_of_the_one_before
            a_delivery_settles_only_what_was_delivered
            those_who_are_gone_are_owed_nothing
            the_walk_begins_anywhere
        }

        #[test]
        fn any_interleaving_does_what_the_model_does() {
            $crate::suite::any_interleaving_does_what_the_model_does(|| $place);
        }
    };
    (@each $place:expr; $($check:ident)*) => {
        $(
            #[tokio::test(flavor = "multi_thread", worker_threads = 2)]
            async fn $check() {
                let check = $crate::suite::$check($place);
                tokio::time::timeout($crate::suite::PATIENCE, check)
                    .await
                    .expect("it hangs");
            }
        )*
    };
}

/// A machine's stream.
#[must_use]
pub fn machine(name: &str) -> Stream {
    Stream::Machine(MachineName::new(name).unwrap())
}

/// A fact of this machine's stream, told from others by `count`.
///
/// # Panics
/// When the stream is not a machine's.
#[must_use]
pub fn counted(stream: &Stream, count: u64) -> Fact {
    let Stream::Machine(machine) = stream else {
        unreachable!("a machine's stream is wanted, not {stream}")
    };
    Fact {
        at: Timestamp(1_700_000_000_000),
        machine_time: None,
        happened: None,
        identity: None,
        sender: None,
        asked_with: None,
        event: Event::BoardsCounted { machine: machine.clone(), count, by_machine: None },
    }
}

/// A batch's name made of a number.
#[must_use]
pub fn batch(number: u64) -> BatchId {
    let mut id = [0xb0; 16];
    for (to, from) in id.iter_mut().zip(number.to_be_bytes()) {
        *to = from;
    }
    BatchId(id)
}

/// An append of `counts` to a machine's stream; the batch is named after the first.
#[must_use]
pub fn append(stream: &Stream, expected: u64, counts: impl IntoIterator<Item = u64>) -> Append {
    let facts: Vec<Fact> = counts.into_iter().map(|count| counted(stream, count)).collect();
    let named = facts.first().map_or(0, count);
    Append { stream: stream.clone(), expected, batch: batch(named), facts }
}

/// What [`counted`] was given.
#[must_use]
pub fn count(fact: &Fact) -> u64 {
    match fact.event {
        Event::BoardsCounted { count, .. } => count,
        _ => unreachable!("the suite writes counts only"),
    }
}

/// Hands over one append and gives its answer.
pub async fn one(ledger: &dyn Ledger, append: Append) -> Result<Appended, Refused> {
    let mut answers = ledger.append(vec![append]).await.unwrap();
    assert_eq!(answers.len(), 1, "one answer for each append");
    answers.remove(0)
}

/// All events of the ledger.
pub async fn everything(ledger: &dyn Ledger) -> Vec<Entry> {
    let entries = ledger.read(Position(0), usize::MAX).await.unwrap();
    for (entry, place) in entries.iter().zip(1..) {
        assert_eq!(entry.recorded.position, Position(place));
    }
    entries
}

/// What [`counted`] was given for all events of the ledger.
pub async fn counts(ledger: &dyn Ledger) -> Vec<u64> {
    let entries = everything(ledger).await;
    entries.iter().map(|e| count(&e.recorded.fact)).collect()
}

fn placed(first: u64, last: u64, version: u64) -> Result<Appended, Refused> {
    Ok(Appended { first: Position(first), last: Position(last), version })
}

fn conflict(stream: &Stream, expected: u64, actual: u64) -> Result<Appended, Refused> {
    Err(Refused::Conflict { stream: stream.clone(), expected, actual })
}
