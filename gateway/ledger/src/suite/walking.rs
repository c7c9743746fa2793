//! The chain of hashes.

use stencilward_domain::event::Position;

use super::{Place, append, everything, machine, one};
use crate::chain::{GENESIS, Link};
use crate::error::LedgerError;
use crate::verify::{Verified, verify, verify_after};

/// Each event carries the hash of the one before it, from the first event on.
pub async fn the_chain_goes_on_after_opening_again(place: impl Place) {
    let a = machine("a");
    for round in 0..3 {
        let ledger = place.open().await;
        let call = vec![append(&a, round * 3, [round, 7]), append(&a, round * 3 + 2, [round])];
        ledger.append(call).await.unwrap();
        ledger.close().await;
    }
    let ledger = place.open().await;
    let mut hash = GENESIS;
    for entry in everything(&*ledger).await {
        let link = Link {
            position: entry.recorded.position.0,
            stream: entry.stream.as_bytes(),
            version: entry.version,
            batch: &entry.batch.0,
            body: entry.body.as_bytes(),
        };
        hash = link.hash(&hash);
        assert_eq!(entry.hash, hash);
    }
    let mut heard = Vec::new();
    let walked = verify(&*ledger, |position| heard.push(position)).await;
    let head = Position(9);
    assert_eq!(walked.unwrap(), Verified::Whole { head, hash });
    assert_eq!(heard.last(), Some(&head));
}

/// From a place whose hash is believed.
pub async fn the_walk_begins_anywhere(place: impl Place) {
    let ledger = place.open().await;
    let empty = Verified::Whole { head: Position(0), hash: GENESIS };
    assert_eq!(verify(&*ledger, |_| {}).await.unwrap(), empty);
    one(&*ledger, append(&machine("a"), 0, 0..50)).await.unwrap();
    let whole = verify(&*ledger, |_| {}).await.unwrap();
    for after in [0, 1, 20, 49, 50] {
        let walked = verify_after(&*ledger, Position(after), |_| {}).await;
        assert_eq!(walked.unwrap(), whole, "after {after}");
    }
    let nowhere = verify_after(&*ledger, Position(51), |_| {}).await;
    assert!(matches!(nowhere, Err(LedgerError::Missing(Position(51)))));
}
