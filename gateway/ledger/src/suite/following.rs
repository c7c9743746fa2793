//! Reading on as events come.

use std::sync::Arc;

use stencilward_domain::event::Position;
use tokio::task::JoinHandle;

use super::{Place, append, machine, one};
use crate::contract::Ledger;
use crate::follow::Follower;

/// Positions from `after + 1` on, as a follower gives them, until `last`.
async fn follow(ledger: Arc<dyn Ledger>, after: u64, last: u64) {
    let mut follower = Follower::new(ledger, Position(after));
    let mut seen = after;
    while seen < last {
        let page = follower.next().await.unwrap().unwrap();
        assert!(!page.is_empty());
        for entry in page {
            seen += 1;
            assert_eq!(entry.recorded.position, Position(seen));
        }
        assert_eq!(follower.after(), Position(seen));
    }
    assert_eq!(seen, last);
}

/// Appends `calls` calls of five events to a stream of its own.
fn write(ledger: &Arc<dyn Ledger>, name: &str, calls: u64) -> JoinHandle<()> {
    let (ledger, stream) = (Arc::clone(ledger), machine(name));
    tokio::spawn(async move {
        for call in 0..calls {
            let append = append(&stream, call * 5, call * 5..call * 5 + 5);
            one(&*ledger, append).await.unwrap();
        }
    })
}

/// From whatever place, while others write.
pub async fn following_sees_each_event_once(place: impl Place) {
    let ledger = place.open().await;
    write(&ledger, "before", 300).await.unwrap();
    let all = 1_500 + 3 * 500;
    let followers = [0, 1, 1_499, 1_500, 1_700]
        .map(|after| tokio::spawn(follow(Arc::clone(&ledger), after, all)));
    let writers = ["a", "b", "c"].map(|name| write(&ledger, name, 100));
    for task in writers.into_iter().chain(followers) {
        task.await.unwrap();
    }
}

/// Waits given up at every point of their work.
pub async fn a_wait_given_up_loses_nothing(place: impl Place) {
    let ledger = place.open().await;
    let writer = write(&ledger, "a", 100);
    let mut follower = Follower::new(Arc::clone(&ledger), Position(0));
    let (mut seen, mut given_up, mut patience) = (0, 0, 0);
    while seen < 500 {
        let page = tokio::select! {
            biased;
            page = follower.next() => page.unwrap().unwrap(),
            () = yields(patience % 7) => {
                given_up += 1;
                patience += 1;
                continue;
            }
        };
        for entry in page {
            seen += 1;
            assert_eq!(entry.recorded.position, Position(seen));
        }
    }
    writer.await.unwrap();
    assert!(given_up > 0, "no wait was given up");
}

async fn yields(times: u32) {
    for _ in 0..times {
        tokio::task::yield_now().await;
    }
}

/// After everything was given.
pub async fn following_ends_when_the_ledger_is_closed(place: impl Place) {
    let ledger = place.open().await;
    write(&ledger, "a", 2).await.unwrap();
    let mut behind = Follower::new(Arc::clone(&ledger), Position(0));
    let mut waiting = Follower::new(Arc::clone(&ledger), Position(10));
    let waiting = tokio::spawn(async move { waiting.next().await.unwrap() });
    tokio::task::yield_now().await;
    ledger.close().await;
    assert_eq!(waiting.await.unwrap(), None);
    assert_eq!(behind.next().await.unwrap().map(|page| page.len()), Some(10));
    assert_eq!(behind.next().await.unwrap(), None);
}
