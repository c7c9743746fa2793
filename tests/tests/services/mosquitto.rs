//! Mosquitto keeps a retained message, by rumqttc.

use std::time::Duration;

use rumqttc::{AsyncClient, Event, EventLoop, MqttOptions, Packet, QoS};
use stencilward_tests::mosquitto::{Broker, Mosquitto, Persistence};
use stencilward_tests::service::{Service, Way};
use tokio::time::timeout;

use crate::life::{Keeps, live};

const LIMIT: Duration = Duration::from_secs(10);
const TOPIC: &str = "invented/kept";

fn client(broker: &Mosquitto) -> (AsyncClient, EventLoop) {
    AsyncClient::new(MqttOptions::new("services", broker.host(), broker.port()), 10)
}

/// The first packet of which `pick` makes something.
async fn next<T>(events: &mut EventLoop, pick: impl Fn(Packet) -> Option<T>) -> T {
    let looking = async {
        loop {
            let event = events.poll().await.unwrap();
            if let Event::Incoming(packet) = event
                && let Some(value) = pick(packet)
            {
                return value;
            }
        }
    };
    timeout(LIMIT, looking).await.expect("the broker says what was waited for")
}

impl Keeps for Broker {
    async fn put(service: &Service<Self>) {
        let (client, mut events) = client(service);
        client.publish(TOPIC, QoS::AtLeastOnce, true, "7").await.unwrap();
        next(&mut events, |packet| matches!(packet, Packet::PubAck(_)).then_some(())).await;
        // It writes its file after it has confirmed, and before it turns to somebody else.
        service.hello().await.unwrap();
    }

    async fn kept(service: &Service<Self>) -> Result<(), String> {
        let (client, mut events) = client(service);
        client.subscribe(TOPIC, QoS::AtLeastOnce).await.unwrap();
        let payload = next(&mut events, |packet| match packet {
            Packet::Publish(publish) => Some(publish.payload),
            _ => None,
        });
        let payload = payload.await;
        if payload == "7" { Ok(()) } else { Err(format!("{payload:?}")) }
    }
}

#[tokio::test]
async fn in_a_container() {
    live(Broker::new(Persistence::EachChange), Way::Container).await;
}

#[tokio::test]
async fn installed() {
    live(Broker::new(Persistence::EachChange), Way::Process).await;
}
