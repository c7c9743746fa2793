//! A plain client of a broker.

use std::net::SocketAddr;
use std::ops::Range;

use rumqttc::{AsyncClient, Event, EventLoop, MqttOptions, Packet, Publish, QoS};

use crate::gateway::within;

/// A client that publishes and hears.
pub(crate) struct Client {
    client: AsyncClient,
    events: EventLoop,
}

impl Client {
    pub(crate) async fn connect(address: SocketAddr, id: &str) -> Self {
        let mut options = MqttOptions::new(id, address.ip().to_string(), address.port());
        options.set_inflight(100).set_max_packet_size(1 << 20, 1 << 20);
        let (client, events) = AsyncClient::new(options, 64);
        let mut new = Self { client, events };
        new.wait(|packet| matches!(packet, Packet::ConnAck(_))).await;
        new
    }

    async fn wait(&mut self, is_it: impl Fn(&Packet) -> bool) -> Packet {
        within("a packet", async {
            loop {
                if let Event::Incoming(packet) = self.events.poll().await.unwrap()
                    && is_it(&packet)
                {
                    return packet;
                }
            }
        })
        .await
    }

    pub(crate) async fn subscribe(&mut self, topic: &str) {
        self.client.subscribe(topic, QoS::AtLeastOnce).await.unwrap();
        self.wait(|packet| matches!(packet, Packet::SubAck(_))).await;
    }

    /// The next message.
    pub(crate) async fn hear(&mut self) -> Publish {
        match self.wait(|packet| matches!(packet, Packet::Publish(_))).await {
            Packet::Publish(publish) => publish,
            other => panic!("{other:?}"),
        }
    }

    /// Skips to the next message with this payload.
    pub(crate) async fn hear_payload(&mut self, payload: &str) -> Publish {
        loop {
            let publish = self.hear().await;
            if publish.payload == payload.as_bytes() {
                return publish;
            }
        }
    }

    /// Publishes with QoS 1, and returns when the broker has it.
    pub(crate) async fn say(&mut self, topic: &str, payload: impl Into<Vec<u8>>) {
        self.say_so(topic, QoS::AtLeastOnce, false, payload).await;
    }

    pub(crate) async fn say_so(
        &mut self,
        topic: &str,
        qos: QoS,
        retain: bool,
        payload: impl Into<Vec<u8>>,
    ) {
        self.client.publish(topic, qos, retain, payload).await.unwrap();
        match qos {
            // Nothing tells that it is sent but that something later is acknowledged.
            QoS::AtMostOnce => {
                self.client.publish("fence", QoS::AtLeastOnce, false, "").await.unwrap();
                self.wait(|packet| matches!(packet, Packet::PubAck(_))).await
            }
            QoS::AtLeastOnce => self.wait(|packet| matches!(packet, Packet::PubAck(_))).await,
            QoS::ExactlyOnce => self.wait(|packet| matches!(packet, Packet::PubComp(_))).await,
        };
    }

    /// Publishes many totals, and returns when the broker has them all.
    pub(crate) async fn say_totals(&mut self, topic: &str, totals: Range<u64>) {
        let mut missing = totals.end - totals.start;
        let mut next = totals.peekable();
        within("the broker to take all", async {
            while missing > 0 {
                while let Some(total) = next.peek() {
                    let text = total.to_string();
                    if self.client.try_publish(topic, QoS::AtLeastOnce, false, text).is_err() {
                        break;
                    }
                    next.next();
                }
                if let Event::Incoming(Packet::PubAck(_)) = self.events.poll().await.unwrap() {
                    missing -= 1;
                }
            }
        })
        .await;
    }
}
