//! What is owed: kept with its cause, replaced, delivered, still due later.

use std::collections::BTreeSet;

use super::{Place, append, machine};
use crate::contract::{Due, Ledger, Owed};

const BROKER: &str = "floor";

fn state(about: &str, body: &str) -> Owed {
    Owed { to: BROKER.to_owned(), about: about.to_owned(), replaces: true, body: body.into() }
}

fn answer(about: &str, body: &str) -> Owed {
    Owed { replaces: false, ..state(about, body) }
}

async fn due(ledger: &dyn Ledger) -> Vec<Due> {
    ledger.due(BROKER, 0, usize::MAX).await.unwrap()
}

fn bodies(due: &[Due]) -> Vec<String> {
    due.iter().map(|due| String::from_utf8(due.owed.body.clone()).unwrap()).collect()
}

/// And it outlives the ledger that took it in.
pub async fn what_is_owed_is_kept_with_its_cause(place: impl Place) {
    let ledger = place.open().await;
    let owed = vec![state("stencil/a", "printed"), answer("answers", "no")];
    let appends = [append(&machine("a"), 0, [1])];
    ledger.append_owing(&appends, &owed).await.unwrap();
    let kept = due(&*ledger).await;
    assert_eq!(kept.iter().map(|due| due.owed.clone()).collect::<Vec<_>>(), owed);
    assert_eq!(*ledger.owing().borrow(), kept[1].number);
    assert_eq!(ledger.due(BROKER, kept[0].number, 9).await.unwrap(), kept[1..]);
    assert_eq!(ledger.due(BROKER, 0, 1).await.unwrap(), kept[..1]);
    assert_eq!(ledger.due("another", 0, 9).await.unwrap(), []);
    ledger.close().await;
    assert_eq!(due(&*place.open().await).await, kept);
}

/// A writer that is not sure hands everything over again.
pub async fn a_repeat_or_a_refusal_owes_nothing_new(place: impl Place) {
    let ledger = place.open().await;
    let first = || [append(&machine("a"), 0, [1])];
    for _ in 0..2 {
        ledger.append_owing(&first(), &[answer("answers", "no")]).await.unwrap();
    }
    let stale = [append(&machine("a"), 0, [2])];
    ledger.append_owing(&stale, &[answer("answers", "yes")]).await.unwrap();
    assert_eq!(bodies(&due(&*ledger).await), ["no"]);
    ledger.append_owing(&[], &[answer("answers", "maybe")]).await.unwrap();
    assert_eq!(bodies(&due(&*ledger).await), ["no", "maybe"], "without appends it is owed");
}

/// Answers queue up; of a state only the last one counts.
pub async fn a_state_takes_the_place_of_the_one_before(place: impl Place) {
    let ledger = place.open().await;
    for (number, word) in ["clean", "printed", "washing"].into_iter().enumerate() {
        let appends = [append(&machine("a"), number as u64, [number as u64])];
        let elsewhere = Owed { to: "another".to_owned(), ..state("stencil/a", word) };
        let owed = [state("stencil/a", word), answer("stencil/a", word), elsewhere];
        ledger.append_owing(&appends, &owed).await.unwrap();
    }
    assert_eq!(bodies(&due(&*ledger).await), ["clean", "printed", "washing", "washing"]);
    assert_eq!(bodies(&ledger.due("another", 0, 9).await.unwrap()), ["washing"]);
}

/// One that was replaced while it was under way is still owed in its new form.
pub async fn a_delivery_settles_only_what_was_delivered(place: impl Place) {
    let ledger = place.open().await;
    let owe = async |owed| ledger.append_owing(&[], &[owed]).await.unwrap();
    owe(state("stencil/a", "clean")).await;
    let under_way = due(&*ledger).await.remove(0).number;
    owe(state("stencil/a", "printed")).await;
    ledger.delivered(vec![under_way]).await.unwrap();
    let left = due(&*ledger).await;
    assert_eq!(bodies(&left), ["printed"]);
    ledger.delivered(vec![left[0].number, 77]).await.unwrap();
    assert_eq!(due(&*ledger).await, []);
    ledger.close().await;
    let ledger = place.open().await;
    ledger.append_owing(&[], &[state("stencil/a", "clean")]).await.unwrap();
    assert!(due(&*ledger).await[0].number > left[0].number, "no number is given twice");
}

/// What is owed to those who are gone is forgotten; the rest, and all events, stay.
pub async fn those_who_are_gone_are_owed_nothing(place: impl Place) {
    let ledger = place.open().await;
    let to = |to: &str| Owed { to: to.to_owned(), ..state("stencil/a", to) };
    let appends = vec![append(&machine("a"), 0, [1])];
    let all = ["gone", BROKER, "gone too", "another"].map(to).to_vec();
    ledger.append_owing(&appends, &all).await.unwrap();
    let known: BTreeSet<String> = [BROKER, "another", "new"].map(str::to_owned).into();
    let gone = ledger.owe_only(known.clone()).await.unwrap();
    assert_eq!(gone, ["gone", "gone too"].map(str::to_owned).into());
    assert_eq!(ledger.owe_only(known).await.unwrap(), BTreeSet::new());
    ledger.close().await;
    let ledger = place.open().await;
    assert_eq!(bodies(&due(&*ledger).await), [BROKER]);
    assert_eq!(bodies(&ledger.due("another", 0, 9).await.unwrap()), ["another"]);
    assert_eq!(ledger.due("gone", 0, 9).await.unwrap(), []);
    assert_eq!(ledger.head().borrow().0, 1);
}
