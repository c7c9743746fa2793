//! Messages that wait at the broker for a client that is away.

use std::time::Duration;

use rumqttc::{AsyncClient, Event, EventLoop, MqttOptions, Packet, QoS};

pub(crate) const TOPIC: &str = "bench/strokes";
pub(crate) const SEAT: &str = "bench/seat";

/// Bytes of a message.
const SIZE: usize = 300;

pub(crate) struct Backlog {
    host: String,
    port: u16,
    number: u64,
}

impl Backlog {
    pub(crate) fn new(host: &str, port: u16) -> Self {
        Self { host: host.to_owned(), port, number: 0 }
    }

    pub(crate) fn host(&self) -> &str {
        &self.host
    }

    pub(crate) fn port(&self) -> u16 {
        self.port
    }

    pub(crate) fn options(&self, client: &str) -> MqttOptions {
        let mut options = MqttOptions::new(client, &self.host, self.port);
        options.set_clean_session(false).set_keep_alive(Duration::from_secs(30));
        options.set_max_packet_size(1 << 20, 1 << 20).set_inflight(100);
        options
    }

    /// Lets the broker know the client and what it listens to, and leaves.
    pub(crate) async fn introduce(&self, client: &str) {
        let (asking, mut events) = AsyncClient::new(self.options(client), 10);
        asking.subscribe(TOPIC, QoS::AtLeastOnce).await.unwrap();
        until(&mut events, |packet| matches!(packet, Packet::SubAck(_))).await;
        leave(&asking, events).await;
    }

    /// Lets the broker forget the client.
    pub(crate) async fn forget(&self, client: &str) {
        let mut options = self.options(client);
        options.set_clean_session(true);
        let (asking, mut events) = AsyncClient::new(options, 10);
        until(&mut events, |packet| matches!(packet, Packet::ConnAck(_))).await;
        leave(&asking, events).await;
    }

    /// Says that a stencil is in the printer.
    pub(crate) async fn seat(&self, code: &str) {
        let (client, mut events) = AsyncClient::new(self.options("seat"), 10);
        let text = format!(r#"{{"code":"{code}"}}"#);
        client.publish(SEAT, QoS::AtLeastOnce, false, text).await.unwrap();
        until(&mut events, |packet| matches!(packet, Packet::PubAck(_))).await;
        leave(&client, events).await;
    }

    /// Publishes so many messages, and returns when the broker has them.
    pub(crate) async fn publish(&mut self, count: u64) {
        let (client, mut events) = AsyncClient::new(self.options("publisher"), 200);
        let (mut given, mut confirmed) = (0, 0);
        while confirmed < count {
            while given < count
                && client.try_publish(TOPIC, QoS::AtLeastOnce, false, self.next()).is_ok()
            {
                given += 1;
                self.number += 1;
            }
            if let Event::Incoming(Packet::PubAck(_)) = events.poll().await.unwrap() {
                confirmed += 1;
            }
        }
        leave(&client, events).await;
    }

    fn next(&self) -> String {
        let number = self.number;
        let mut text = format!(r#"{{"id":"{number}","count":1,"more":""#);
        let fill = SIZE.saturating_sub(text.len() + 2);
        text.extend(std::iter::repeat_n('x', fill));
        text + "\"}"
    }
}

async fn until(events: &mut EventLoop, is_it: impl Fn(&Packet) -> bool) {
    loop {
        if let Event::Incoming(packet) = events.poll().await.unwrap()
            && is_it(&packet)
        {
            return;
        }
    }
}

async fn leave(client: &AsyncClient, mut events: EventLoop) {
    client.disconnect().await.unwrap();
    while events.poll().await.is_ok() {}
}
