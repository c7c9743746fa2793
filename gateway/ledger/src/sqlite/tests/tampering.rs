//! A file edited behind the ledger's back is found out, at the right place.

use rusqlite::{Connection, params};
use stencilward_domain::event::Position;

use super::Kept;
use crate::chain::Link;
use crate::contract::Ledger;
use crate::error::LedgerError;
use crate::suite::{append, machine, one};
use crate::verify::{Verified, verify, verify_after};

/// Ten events in a file whose guards are off.
async fn ten() -> (Kept, Connection) {
    let kept = Kept::new();
    let ledger = kept.open();
    let (a, b) = (machine("a"), machine("b"));
    one(&ledger, append(&a, 0, 0..5)).await.unwrap();
    one(&ledger, append(&b, 0, 5..10)).await.unwrap();
    drop(ledger);
    let hand = Connection::open(kept.file()).unwrap();
    hand.execute_batch(
        "DROP TRIGGER event_stays; DROP TRIGGER event_stays_as_it_is;
         PRAGMA ignore_check_constraints = ON;",
    )
    .unwrap();
    (kept, hand)
}

async fn after(edit: &str) -> Verified {
    let (kept, hand) = ten().await;
    hand.execute_batch(edit).unwrap();
    drop(hand);
    verify(&kept.open(), |_| {}).await.unwrap()
}

fn broken(at: u64) -> Verified {
    Verified::Broken { at: Position(at) }
}

#[tokio::test]
async fn an_untouched_ledger_is_whole() {
    let walked = after("").await;
    assert!(matches!(walked, Verified::Whole { head: Position(10), .. }));
}

#[tokio::test]
async fn an_edit_of_any_column_is_found_where_it_is() {
    for edit in [
        "body = replace(body, '\"count\":3', '\"count\":2')",
        "body = body || ' '",
        "body = ''",
        "body = CAST(X'ff80' AS TEXT)",
        "stream = 'machine/c'",
        "version = 44",
        "version = -4",
        "batch = zeroblob(16)",
        "batch = X''",
        "hash = zeroblob(32)",
        "hash = X'00'",
    ] {
        let walked = after(&format!("UPDATE event SET {edit} WHERE position = 4")).await;
        assert_eq!(walked, broken(4), "{edit}");
    }
}

#[tokio::test]
async fn an_event_taken_out_is_found() {
    for position in [1, 4, 9] {
        let delete = format!("DELETE FROM event WHERE position = {position}");
        assert_eq!(after(&delete).await, broken(position));
    }
    let closed_up = "DELETE FROM event WHERE position = 4;
        UPDATE event SET position = position - 1 WHERE position > 4;";
    assert_eq!(after(closed_up).await, broken(4));
}

#[tokio::test]
async fn events_that_changed_places_are_found() {
    let swap = "UPDATE event SET position = 99 WHERE position = 3;
        UPDATE event SET position = 3 WHERE position = 7;
        UPDATE event SET position = 7 WHERE position = 99;";
    assert_eq!(after(swap).await, broken(3));
}

#[tokio::test]
async fn an_event_put_in_is_found() {
    let insert = "INSERT INTO event SELECT 11, stream, 6, batch, body, hash FROM event
        WHERE position = 10;";
    assert_eq!(after(insert).await, broken(11));
}

/// Computes the hashes of these events anew, as whoever knows this page can.
fn forge(hand: &Connection, which: &str) {
    let query = format!(
        "SELECT position, stream, version, batch, body,
            coalesce((SELECT hash FROM event before
                WHERE before.position < event.position ORDER BY position DESC LIMIT 1), zeroblob(32))
         FROM event WHERE position {which} ORDER BY position"
    );
    let mut statement = hand.prepare(&query).unwrap();
    let mut rows = statement.query([]).unwrap();
    while let Some(row) = rows.next().unwrap() {
        let number = |column| u64::try_from(row.get::<_, i64>(column).unwrap()).unwrap();
        let (stream, body): (String, String) = (row.get(1).unwrap(), row.get(4).unwrap());
        let batch: [u8; 16] = row.get(3).unwrap();
        let link = Link {
            position: number(0),
            stream: stream.as_bytes(),
            version: number(2),
            batch: &batch,
            body: body.as_bytes(),
        };
        let update = "UPDATE event SET hash = ?2 WHERE position = ?1";
        let hash = link.hash(&row.get(5).unwrap());
        hand.execute(update, params![row.get::<_, i64>(0).unwrap(), hash]).unwrap();
    }
}

async fn after_forging(edit: &str, which: &str) -> Verified {
    let (kept, hand) = ten().await;
    hand.execute_batch(edit).unwrap();
    forge(&hand, which);
    drop(hand);
    verify(&kept.open(), |_| {}).await.unwrap()
}

#[tokio::test]
async fn an_edit_with_its_hash_computed_anew_is_found_at_the_next_event() {
    let edit = "UPDATE event SET body = '{}' WHERE position = 4";
    assert_eq!(after_forging(edit, "= 4").await, broken(5));
}

#[tokio::test]
async fn a_gap_is_found_whatever_the_hashes() {
    let gap = "DELETE FROM event WHERE position = 4";
    assert_eq!(after_forging(gap, "> 4").await, broken(4));
}

/// A chain computed anew from an edit to its end is whole: only a hash noted elsewhere shows it.
#[tokio::test]
async fn a_forged_chain_shows_in_the_hash_alone() {
    let before = after("").await;
    assert_eq!(after_forging("", "> 0").await, before);
    let edit = "UPDATE event SET body = replace(body, ':3}', ':2}') WHERE position = 4";
    let forged = after_forging(edit, "> 3").await;
    assert!(matches!(forged, Verified::Whole { head: Position(10), .. }));
    assert_ne!(forged, before);
}

/// A cut end leaves a whole chain: only a hash noted elsewhere shows it.
#[tokio::test]
async fn a_cut_end_shows_in_the_hash_alone() {
    let before = after("").await;
    let cut = after("DELETE FROM event WHERE position > 8").await;
    assert!(matches!(cut, Verified::Whole { head: Position(8), .. }));
    assert_ne!(cut, before);
}

#[tokio::test]
async fn a_walk_that_begins_later_sees_only_what_comes_later() {
    let (kept, hand) = ten().await;
    hand.execute("UPDATE event SET body = '{}' WHERE position = 4", []).unwrap();
    drop(hand);
    let ledger = kept.open();
    let walk = async |after| verify_after(&ledger, Position(after), |_| {}).await.unwrap();
    assert_eq!(walk(3).await, broken(4));
    assert!(matches!(walk(4).await, Verified::Whole { .. }));
}

#[tokio::test]
async fn reading_names_what_cannot_be_read_and_what_is_missing() {
    let (kept, hand) = ten().await;
    hand.execute("UPDATE event SET body = '{\"event\":\"x\"}' WHERE position = 4", []).unwrap();
    hand.execute("UPDATE event SET body = CAST(X'ff' AS TEXT) WHERE position = 6", []).unwrap();
    hand.execute("DELETE FROM event WHERE position = 8", []).unwrap();
    hand.execute("UPDATE event SET stream = 'nobody' WHERE position = 10", []).unwrap();
    drop(hand);
    let ledger = kept.open();
    let read = async |after| ledger.read(Position(after), 2).await;
    assert_eq!(read(1).await.unwrap().len(), 2);
    for (after, at) in [(3, 4), (5, 6)] {
        let error = read(after).await.unwrap_err();
        assert!(error.to_string().contains(&format!("#{at} ")), "{error}");
        assert!(matches!(error, LedgerError::Unreadable { position, .. } if position.0 == at));
    }
    for after in [6, 7] {
        let missing = read(after).await;
        assert!(matches!(missing, Err(LedgerError::Missing(Position(8)))), "{missing:?}");
    }
    let versions = ledger.versions().await;
    assert!(matches!(versions, Err(LedgerError::UnknownStream(name)) if name == "nobody"));
}
