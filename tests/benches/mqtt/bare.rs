//! The library's own loop, which acknowledges at once and stores nothing.

use std::time::Instant;

use rumqttc::{AsyncClient, Event, Packet};

use super::backlog::Backlog;

const CLIENT: &str = "bare";

/// Messages a second.
pub(crate) async fn drain(backlog: &mut Backlog, count: u64) -> f64 {
    backlog.introduce(CLIENT).await;
    backlog.publish(count).await;
    let begun = Instant::now();
    // Room for an acknowledgement of each.
    let (_client, mut events) = AsyncClient::new(backlog.options(CLIENT), 400_000);
    let mut heard = 0;
    while heard < count {
        if let Event::Incoming(Packet::Publish(publish)) = events.poll().await.unwrap() {
            assert_eq!(publish.payload.len(), 300);
            heard += 1;
        }
    }
    let took = begun.elapsed();
    drop(events);
    backlog.forget(CLIENT).await;
    count as f64 / took.as_secs_f64()
}
