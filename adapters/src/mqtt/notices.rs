//! Notices for everybody at a broker: that the gateway is there, and what it owes them.

use std::sync::Arc;

use futures::future::join_all;
use tokio_util::sync::CancellationToken;

use super::outbox::Outbox;
use super::packets::Post;
use super::settings::Publish;
use crate::link::{Due, Owing};

/// Notices under way at the same time. Few, so that a permission need not wait for them long.
const UNDER_WAY: usize = 8;

/// Says that the gateway is there, or not.
pub(super) fn presence(publish: &Publish, online: bool) -> Post {
    let topic = format!("{}/gateway", publish.under);
    let payload = format!(r#"{{"online":{online}}}"#).into_bytes();
    Post { topic, payload, retain: true, reply: None }
}

/// Tells a broker what it is owed.
pub(super) struct Notices {
    pub(super) broker: String,
    pub(super) publish: Publish,
    pub(super) owing: Arc<dyn Owing>,
    pub(super) outbox: Outbox,
    pub(super) stop: CancellationToken,
}

impl Notices {
    /// Tells until told to stop, then says that the gateway has gone.
    pub(super) async fn run(self) {
        let stop = self.stop.clone();
        stop.run_until_cancelled(self.tell()).await;
        self.outbox.hand_over(presence(&self.publish, false)).await;
    }

    async fn tell(&self) {
        let mut connected = self.outbox.connected();
        // What was handed over goes over the next connection, too; but what the broker kept may
        // be gone, so with each connection everything is told anew.
        while connected.wait_for(|connection| *connection != 0).await.is_ok() {
            connected.mark_unchanged();
            tokio::select! {
                () = self.over_connection() => {}
                changed = connected.changed() => if changed.is_err() { return },
            }
        }
    }

    async fn over_connection(&self) {
        self.outbox.publish(presence(&self.publish, true)).await;
        self.owing.owe_all(&self.broker).await;
        let mut after = 0;
        loop {
            let due = self.owing.due(&self.broker, after, UNDER_WAY).await;
            after = due.last().map_or(after, |due| due.number);
            let told = join_all(due.into_iter().map(|due| self.deliver(due))).await;
            self.owing.delivered(told.into_iter().flatten().collect()).await;
        }
    }

    /// The number of the message, once the broker has it.
    async fn deliver(&self, due: Due) -> Option<u64> {
        let topic = format!("{}/{}", self.publish.under, due.about);
        let post = Post { topic, payload: due.body, retain: due.retain, reply: None };
        self.outbox.publish(post).await.then_some(due.number)
    }
}
