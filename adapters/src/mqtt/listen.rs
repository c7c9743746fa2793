//! What the connection that takes in listens with: its filters, its polling, and the limit of
//! what may wait between them and the gateway.

use std::collections::HashMap;
use std::sync::atomic::{AtomicUsize, Ordering};

use rumqttc::{ConnectionError, Event, EventLoop, Packet, Publish, QoS};
use tokio::sync::mpsc;
use tokio_util::task::AbortOnDropHandle;

use super::topic::covers;

/// Messages that may wait to be decoded; beyond, the connection is cut and made again.
pub(super) const BACKLOG: usize = 200_000;

/// Bytes that may wait to be decoded.
pub(super) const BACKLOG_BYTES: usize = 64 << 20;

/// What waits between the tasks, so that it can be limited.
#[derive(Default)]
pub(super) struct Backlog {
    messages: AtomicUsize,
    bytes: AtomicUsize,
}

impl Backlog {
    /// Takes note of a message; false when it is one too many.
    pub(super) fn take(&self, publish: &Publish) -> bool {
        let messages = self.messages.fetch_add(1, Ordering::Relaxed);
        let bytes = self.bytes.fetch_add(size(publish), Ordering::Relaxed);
        messages < BACKLOG && bytes < BACKLOG_BYTES
    }

    pub(super) fn give_back(&self, publish: &Publish) {
        self.messages.fetch_sub(1, Ordering::Relaxed);
        self.bytes.fetch_sub(size(publish), Ordering::Relaxed);
    }
}

fn size(publish: &Publish) -> usize {
    publish.topic.len() + publish.payload.len()
}

/// A broker may release a QoS 2 message that an earlier connection took in. The library answers
/// only releases of messages it has seen on this one, and would break the connection, again and
/// again; a receiver must answer all (MQTT 3.1.1, 4.3.3).
pub(super) fn expect_releases(event_loop: &mut EventLoop) {
    for pkid in 1..=u16::MAX {
        let mut seen = Publish::new("", QoS::ExactlyOnce, "");
        seen.pkid = pkid;
        // With manual acknowledgement this only takes note of the packet id.
        let _ = event_loop.state.handle_incoming_packet(Packet::Publish(seen));
        event_loop.state.events.clear();
    }
}

/// What a connection tells.
pub(super) type Events = mpsc::UnboundedReceiver<Result<Event, ConnectionError>>;

/// Polls in a task of its own, since a poll that is given up may lose what it had read.
pub(super) fn poll(mut event_loop: EventLoop) -> (Events, AbortOnDropHandle<()>) {
    let (tell, events) = mpsc::unbounded_channel();
    let polling = tokio::spawn(async move {
        loop {
            let event = event_loop.poll().await;
            let over = event.is_err();
            if tell.send(event).is_err() || over {
                return;
            }
        }
    });
    (events, AbortOnDropHandle::new(polling))
}

/// The topics of all messages, each once, with the highest quality of service asked for. One
/// that another covers is left out: a broker may send a message once for each filter that it
/// matches (MQTT 3.1.1, 3.3.5), and it would be counted as often.
pub(super) fn filters(wanted: impl Iterator<Item = (String, u8)>) -> Vec<(String, QoS)> {
    let mut highest: HashMap<String, u8> = HashMap::new();
    for (topic, qos) in wanted {
        let known = highest.entry(topic).or_default();
        *known = (*known).max(qos);
    }
    let narrow: Vec<(String, u8)> = highest.clone().into_iter().collect();
    for (topic, qos) in narrow {
        let wide = highest.iter_mut().find(|(wide, _)| **wide != topic && covers(wide, &topic));
        if let Some((_, known)) = wide {
            *known = (*known).max(qos);
            highest.remove(&topic);
        }
    }
    let mut filters: Vec<_> = highest
        .into_iter()
        .map(|(topic, qos)| {
            let qos = match qos {
                0 => QoS::AtMostOnce,
                1 => QoS::AtLeastOnce,
                _ => QoS::ExactlyOnce,
            };
            (topic, qos)
        })
        .collect();
    filters.sort_by(|(a, _), (b, _)| a.cmp(b));
    filters
}
