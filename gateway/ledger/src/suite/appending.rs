//! Appends are kept whole or refused whole, in the order given.

use stencilward_domain::event::{Event, Position, Stream};
use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::Measurement;

use super::{Place, append, batch, conflict, counted, counts, machine, one, placed};
use crate::contract::Append;
use crate::error::Refused;

/// Positions run from one without a gap; versions run by stream.
pub async fn positions_run_on_from_one(place: impl Place) {
    let ledger = place.open().await;
    let (a, b) = (machine("a"), machine("b"));
    assert_eq!(*ledger.head().borrow(), Position(0));
    assert_eq!(one(&*ledger, append(&a, 0, [1])).await, placed(1, 1, 1));
    assert_eq!(one(&*ledger, append(&b, 0, [2, 3])).await, placed(2, 3, 2));
    assert_eq!(one(&*ledger, append(&a, 1, [4])).await, placed(4, 4, 2));
    assert_eq!(*ledger.head().borrow(), Position(4));
}

/// The facts of one append lie side by side in the order given.
pub async fn an_append_is_kept_whole_and_in_order(place: impl Place) {
    let ledger = place.open().await;
    let a = machine("a");
    let many: Vec<u64> = (1..=300).rev().collect();
    let answer = one(&*ledger, append(&a, 0, many.clone())).await;
    assert_eq!(answer, placed(1, 300, 300));
    assert_eq!(counts(&*ledger).await, many);
}

/// A writer that missed something is refused, and told where the stream is.
pub async fn a_stale_append_is_refused_whole(place: impl Place) {
    let ledger = place.open().await;
    let a = machine("a");
    one(&*ledger, append(&a, 0, [1, 2])).await.unwrap();
    for expected in [0, 1] {
        let stale = append(&a, expected, [7, 8]);
        assert_eq!(one(&*ledger, stale).await, conflict(&a, expected, 2));
    }
    assert_eq!(counts(&*ledger).await, [1, 2]);
}

/// A writer that believes in events nobody kept is refused.
pub async fn an_append_ahead_of_its_stream_is_refused(place: impl Place) {
    let ledger = place.open().await;
    let a = machine("a");
    let ahead = append(&a, 1, [1]);
    assert_eq!(one(&*ledger, ahead).await, conflict(&a, 1, 0));
    let far = append(&a, u64::MAX, [1]);
    assert_eq!(one(&*ledger, far).await, conflict(&a, u64::MAX, 0));
    assert_eq!(counts(&*ledger).await, Vec::<u64>::new());
}

/// A refused append takes neither those before it nor those after it along.
pub async fn each_append_of_a_call_stands_for_itself(place: impl Place) {
    let ledger = place.open().await;
    let (a, b) = (machine("a"), machine("b"));
    let call =
        vec![append(&a, 0, [1]), append(&b, 5, [2]), append(&b, 0, []), append(&b, 0, [3, 4])];
    let answers = ledger.append(call).await.unwrap();
    let empty = Err(Refused::Empty { stream: b.clone() });
    let expected = [placed(1, 1, 1), conflict(&b, 5, 0), empty, placed(2, 3, 2)];
    assert_eq!(answers, expected);
    assert_eq!(counts(&*ledger).await, [1, 3, 4]);
    assert_eq!(ledger.append(Vec::new()).await.unwrap(), []);
}

/// Appends of one call see each other.
pub async fn appends_of_one_call_build_on_each_other(place: impl Place) {
    let ledger = place.open().await;
    let a = machine("a");
    let call =
        vec![append(&a, 0, [1]), append(&a, 1, [2, 3]), append(&a, 1, [4]), append(&a, 3, [5])];
    let answers = ledger.append(call).await.unwrap();
    let expected = [placed(1, 1, 1), placed(2, 3, 3), conflict(&a, 1, 3), placed(4, 4, 4)];
    assert_eq!(answers, expected);
    assert_eq!(counts(&*ledger).await, [1, 2, 3, 5]);
}

/// Nothing is kept that says nothing, belongs elsewhere or could not be read back.
pub async fn senseless_appends_are_refused(place: impl Place) {
    let ledger = place.open().await;
    let (a, b) = (machine("a"), machine("b"));
    let stream = a.clone();
    let empty = one(&*ledger, append(&a, 0, [])).await;
    assert_eq!(empty, Err(Refused::Empty { stream }));

    let mut misplaced = append(&a, 0, [1]);
    misplaced.facts.push(counted(&b, 2));
    let (stream, belongs) = (a.clone(), b);
    let refused = Err(Refused::Misplaced { stream, belongs });
    assert_eq!(one(&*ledger, misplaced).await, refused);

    for value in [f64::NAN, f64::INFINITY] {
        let (measured, stream) = (measured(value), Stream::Stencil(code()));
        let refused = Err(Refused::Unwritable { stream });
        assert_eq!(one(&*ledger, measured).await, refused, "{value}");
    }
    assert_eq!(counts(&*ledger).await, Vec::<u64>::new());
}

fn code() -> StencilCode {
    StencilCode::new("ST-1").unwrap()
}

fn measured(value: f64) -> Append {
    let mut fact = counted(&machine("a"), 1);
    fact.event = Event::Measured {
        stencil: code(),
        machine: None,
        measurement: Measurement { quantity: "tension".to_owned(), value, unit: "N/cm".to_owned() },
    };
    Append { stream: Stream::Stencil(code()), expected: 0, batch: batch(1), facts: vec![fact] }
}
