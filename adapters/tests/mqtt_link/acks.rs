//! Acknowledged only when durable, in order, and every one of them.

use std::net::SocketAddr;
use std::time::Duration;

use serde_json::json;
use stencilward_domain::signal::Said;

use crate::brokers::{Embedded, Mosquitto};
use crate::client::Client;
use crate::gateway::{Gateway, broker, printer, settings, total, until};
use crate::tap::Tap;

/// MQTT 3.1.1 (OASIS, 2014-10-29), 4.4: what was not acknowledged is sent again when the session
/// goes on; 4.6: acknowledgements go out in the order of arrival [MQTT-4.6.0-2].
async fn unanswered_messages_come_again(address: SocketAddr) {
    let tap = Tap::to(address).await;
    let mut gateway = Gateway::up(tap.address, printer()).await;
    let mut client = Client::connect(address, "printer").await;
    let mut held = Vec::new();
    for at in 0..10 {
        client.say("p/total", at.to_string()).await;
        let delivery = gateway.take().await;
        assert_eq!(delivery.signals.iter().filter_map(total).collect::<Vec<_>>(), [at]);
        held.push(delivery.receipt);
    }
    assert_eq!(tap.acks(), Vec::<u16>::new());
    // The later ones are durable first: their acknowledgements wait for the earlier ones.
    for receipt in held.drain(2..6).collect::<Vec<_>>().into_iter().chain(held.drain(..2)) {
        let _ = receipt.send(Vec::new());
    }
    until("six acknowledgements", || tap.acks().len() == 6).await;
    assert!(tap.acks().is_sorted(), "{:?}", tap.acks());
    gateway.kill().await;

    let mut gateway = Gateway::start(tap.address, printer());
    assert!(gateway.hear_up().await);
    assert_eq!(gateway.totals(4).await, [6, 7, 8, 9]);
    client.say("p/total", "99").await;
    assert_eq!(gateway.totals(1).await, [99]);
    gateway.stop().await;
}

/// A gateway with room for one delivery, each durable a little later.
async fn a_slow_gateway_gets_all(address: SocketAddr) {
    let mut gateway = Gateway::with(broker(address), printer(), 1);
    gateway.hear_up().await;
    let mut client = Client::connect(address, "printer").await;
    client.say_totals("p/total", 0..200).await;
    let (mut heard, mut later) = (Vec::new(), Vec::new());
    while heard.len() < 200 {
        let delivery = gateway.take().await;
        heard.extend(delivery.signals.iter().filter_map(total));
        let (receipt, wait) = (delivery.receipt, heard.len() as u64 % 7);
        later.push(tokio::spawn(async move {
            tokio::time::sleep(Duration::from_millis(wait)).await;
            let _ = receipt.send(Vec::new());
        }));
    }
    assert!(heard.iter().copied().eq(0..200), "{heard:?}");
    gateway.stop().await;
    nothing_is_left(address).await;
}

/// A broker may send its whole backlog before it reads one acknowledgement.
async fn a_backlog_is_drained(address: SocketAddr, count: u64) {
    let gateway = Gateway::up(address, printer()).await;
    gateway.stop().await;
    let mut client = Client::connect(address, "printer").await;
    client.say_totals("p/total", 0..count).await;
    let mut gateway = Gateway::with(broker(address), printer(), 16);
    assert!(gateway.hear_up().await);
    let heard = gateway.totals(usize::try_from(count).unwrap()).await;
    assert!(heard.iter().copied().eq(0..count), "something is missing, double or out of order");
    gateway.stop().await;
    nothing_is_left(address).await;
}

/// The next link gets nothing but what is said now.
async fn nothing_is_left(address: SocketAddr) {
    let mut gateway = Gateway::start(address, printer());
    assert!(gateway.hear_up().await);
    let mut client = Client::connect(address, "another").await;
    client.say("p/total", "777777").await;
    assert_eq!(gateway.totals(1).await, [777_777]);
    gateway.stop().await;
}

/// What is handed in when the order to stop comes is waited for and acknowledged; what waits
/// outside comes again.
async fn a_stop_with_work_in_flight(address: SocketAddr) {
    let mut gateway = Gateway::with(broker(address), printer(), 4);
    gateway.hear_up().await;
    let mut client = Client::connect(address, "printer").await;
    client.say("p/total", "0").await;
    let first = gateway.take().await;
    for at in 1..=4 {
        client.say("p/total", at.to_string()).await;
        until("a delivery", || gateway.deliveries.len() == at).await;
    }
    client.say_totals("p/total", 5..20).await;
    gateway.stop.cancel();
    let _ = first.receipt.send(Vec::new());
    let took = gateway.stop().await;
    assert!(took < Duration::from_secs(3), "{took:?}");

    let mut gateway = Gateway::start(address, printer());
    assert!(gateway.hear_up().await);
    let left: Vec<u64> = gateway.totals(15).await;
    assert!(left.iter().copied().eq(5..20), "{left:?}");
    gateway.stop().await;
    nothing_is_left(address).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn with_the_embedded_broker() {
    unanswered_messages_come_again(Embedded::start().await.address).await;
    let broker = Embedded::start().await;
    a_slow_gateway_gets_all(broker.address).await;
    let broker = Embedded::start().await;
    a_backlog_is_drained(broker.address, 2_000).await;
    let broker = Embedded::start().await;
    a_stop_with_work_in_flight(broker.address).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn with_mosquitto() {
    let Some(broker) = Mosquitto::start("with_mosquitto", false) else { return };
    unanswered_messages_come_again(broker.address).await;
    a_slow_gateway_gets_all(broker.address).await;
    a_stop_with_work_in_flight(broker.address).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn twenty_thousand_with_mosquitto() {
    let Some(broker) = Mosquitto::start("twenty_thousand_with_mosquitto", false) else { return };
    a_backlog_is_drained(broker.address, 20_000).await;
}

/// A gateway that takes nothing for a while does not make the broker think it is gone: three
/// times the keep-alive is longer than the one and a half after which a broker gives up (MQTT
/// 3.1.1, 3.1.2.10).
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_full_intake_keeps_the_connection() {
    let broker_process = Embedded::start().await;
    let mut slow = broker(broker_process.address);
    slow.keep_alive.0 = Duration::from_secs(1);
    let mut gateway = Gateway::with(slow, printer(), 1);
    gateway.hear_up().await;
    let mut client = Client::connect(broker_process.address, "printer").await;
    client.say_totals("p/total", 0..50).await;
    tokio::time::sleep(Duration::from_secs(3)).await;
    assert!(gateway.totals(50).await.into_iter().eq(0..50));
    assert_eq!(gateway.notes.troubles(), Vec::new());
    gateway.stop().await;
}

/// Each quality of service arrives, and QoS 2 once.
async fn every_quality(address: SocketAddr) {
    use rumqttc::QoS::{AtLeastOnce, AtMostOnce, ExactlyOnce};
    let entry = |qos: u8| {
        json!({ "topic": format!("q{qos}"), "signal": "boards-counted", "count": "/n",
                "identity": "/n", "qos": qos })
    };
    let made_of = settings(&json!([entry(0), entry(1), entry(2)]), &json!([]));
    let mut gateway = Gateway::up(address, made_of.clone()).await;
    let mut client = Client::connect(address, "printer").await;
    for (topic, qos, count) in
        [("q0", AtMostOnce, 1), ("q1", AtLeastOnce, 2), ("q2", ExactlyOnce, 3)]
    {
        client.say_so(topic, qos, false, json!({ "n": count }).to_string()).await;
        assert_eq!(gateway.next().await.said, Said::BoardsCounted { count });
    }
    gateway.stop().await;
    let mut gateway = Gateway::start(address, made_of);
    assert!(gateway.hear_up().await);
    client.say("q1", r#"{"n":4}"#).await;
    assert_eq!(gateway.next().await.said, Said::BoardsCounted { count: 4 });
    gateway.stop().await;
}

/// A broker may send a message once for each filter that it matches (MQTT 3.1.1, 3.3.5): every
/// entry hears it once all the same.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn entries_that_overlap_hear_a_message_once() {
    let broker = Embedded::start().await;
    let entry = |topic: &str| json!({ "topic": topic, "signal": "boards-counted", "count": "/n", "identity": "/n" });
    let entries = json!([entry("a/#"), entry("a/+"), entry("a/b"), entry("c")]);
    let mut gateway = Gateway::up(broker.address, settings(&entries, &json!([]))).await;
    let mut client = Client::connect(broker.address, "printer").await;
    client.say("a/b", r#"{"n":1}"#).await;
    client.say("c", r#"{"n":2}"#).await;
    for count in [1, 1, 1, 2] {
        assert_eq!(gateway.next().await.said, Said::BoardsCounted { count });
    }
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_quality_of_service() {
    every_quality(Embedded::start().await.address).await;
    if let Some(broker) = Mosquitto::start("every_quality_of_service", false) {
        every_quality(broker.address).await;
    }
}
