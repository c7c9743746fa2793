//! The same append handed over again has no effect and gets the same answer.

use super::{Place, append, batch, conflict, counts, machine, one, placed};

/// Also after its stream and others moved on, and twice in one call.
pub async fn a_repeat_changes_nothing(place: impl Place) {
    let ledger = place.open().await;
    let (a, b) = (machine("a"), machine("b"));
    let first = append(&a, 0, [1, 2]);
    let second = append(&a, 2, [3]);
    assert_eq!(one(&*ledger, first.clone()).await, placed(1, 2, 2));
    assert_eq!(one(&*ledger, first.clone()).await, placed(1, 2, 2));
    one(&*ledger, append(&b, 0, [9])).await.unwrap();
    let twice = vec![second.clone(), second];
    let answers = ledger.append(twice).await.unwrap();
    assert_eq!(answers, [placed(4, 4, 3), placed(4, 4, 3)]);
    assert_eq!(one(&*ledger, first).await, placed(1, 2, 2));
    assert_eq!(counts(&*ledger).await, [1, 2, 9, 3]);
}

/// A call whose outcome was not known comes again, with more behind it.
pub async fn a_repeat_together_with_new_appends(place: impl Place) {
    let ledger = place.open().await;
    let (a, b) = (machine("a"), machine("b"));
    let mut call = vec![append(&a, 0, [1]), append(&b, 0, [2])];
    ledger.append(call.clone()).await.unwrap();
    call.insert(1, append(&a, 1, [3]));
    call.push(append(&b, 1, [4]));
    let answers = ledger.append(call).await.unwrap();
    let expected = [placed(1, 1, 1), placed(3, 3, 2), placed(2, 2, 1), placed(4, 4, 2)];
    assert_eq!(answers, expected);
    assert_eq!(counts(&*ledger).await, [1, 2, 3, 4]);
}

/// The ledger itself knows its batches, not the process that wrote them.
pub async fn a_repeat_after_opening_again(place: impl Place) {
    let a = machine("a");
    let call = vec![append(&a, 0, [1, 2]), append(&a, 2, [3])];
    let ledger = place.open().await;
    let before = ledger.append(call.clone()).await.unwrap();
    ledger.close().await;
    drop(ledger);
    let ledger = place.open().await;
    assert_eq!(ledger.append(call).await.unwrap(), before);
    assert_eq!(counts(&*ledger).await, [1, 2, 3]);
}

/// What only looks like a repeat would lose facts in silence: it is a conflict.
pub async fn an_altered_repeat_is_refused(place: impl Place) {
    let ledger = place.open().await;
    let a = machine("a");
    let kept = append(&a, 0, [1, 2]);
    one(&*ledger, kept.clone()).await.unwrap();

    let mut renamed = kept.clone();
    renamed.batch = batch(77);
    let mut longer = append(&a, 0, [1, 2, 3]);
    longer.batch = kept.batch;
    let mut other = append(&a, 0, [1, 5]);
    other.batch = kept.batch;
    let mut shifted = append(&a, 1, [1, 2]);
    shifted.batch = kept.batch;
    for (append, expected) in [(renamed, 0), (longer, 0), (other, 0), (shifted, 1)] {
        assert_eq!(one(&*ledger, append).await, conflict(&a, expected, 2));
    }
    assert_eq!(counts(&*ledger).await, [1, 2]);
}

/// A batch is named within its stream and version.
pub async fn the_same_batch_on_another_stream_is_another_append(place: impl Place) {
    let ledger = place.open().await;
    let (a, b) = (machine("a"), machine("b"));
    let mut again = append(&a, 1, [2]);
    again.batch = batch(1);
    let call = vec![append(&a, 0, [1]), append(&b, 0, [1]), again];
    let answers = ledger.append(call.clone()).await.unwrap();
    assert_eq!(answers, [placed(1, 1, 1), placed(2, 2, 1), placed(3, 3, 2)]);
    assert_eq!(ledger.append(call).await.unwrap(), answers);
    assert_eq!(counts(&*ledger).await, [1, 1, 2]);
}
