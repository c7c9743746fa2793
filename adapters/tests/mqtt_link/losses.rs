//! Connections that cannot be made, break, fall silent, or forget; and ends that must be quick.

use std::net::{SocketAddr, TcpListener};
use std::time::Duration;

use rumqttc::QoS::{AtLeastOnce, ExactlyOnce};
use serde_json::json;
use stencilward_adapters::link::Trouble;
use stencilward_domain::signal::Said;

use crate::brokers::{Embedded, Mosquitto};
use crate::client::Client;
use crate::gateway::{Gateway, broker, printer, settings, until};
use crate::tap::Tap;

/// Longest time an orderly stop may take, whatever the broker does.
const SOON: Duration = Duration::from_secs(5);

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_restart_with_persistence_keeps_the_session() {
    let test = "a_restart_with_persistence_keeps_the_session";
    let Some(mut broker) = Mosquitto::start(test, true) else { return };
    let mut gateway = Gateway::start(broker.address, printer());
    assert!(!gateway.hear_up().await);
    broker.end();
    assert!(gateway.hear_lost().await.contains("see that the broker runs"));
    broker.again();
    assert!(gateway.hear_up().await);
    let mut client = Client::connect(broker.address, "printer").await;
    client.say("p/total", "5").await;
    assert_eq!(gateway.totals(1).await, [5]);
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_restart_without_persistence_is_told() {
    let test = "a_restart_without_persistence_is_told";
    let Some(mut broker) = Mosquitto::start(test, false) else { return };
    let mut gateway = Gateway::start(broker.address, printer());
    assert!(!gateway.hear_up().await);
    broker.end();
    gateway.hear_lost().await;
    broker.again();
    assert!(!gateway.hear_up().await);
    let mut client = Client::connect(broker.address, "printer").await;
    client.say("p/total", "5").await;
    assert_eq!(gateway.totals(1).await, [5]);
    gateway.stop().await;
}

/// The link is lost once, however often it is tried again.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_embedded_broker_restarts() {
    let broker = Embedded::start().await;
    let mut gateway = Gateway::start(broker.address, printer());
    assert!(!gateway.hear_up().await);
    let address = broker.end().await;
    assert!(!gateway.hear_lost().await.is_empty());
    let notes = gateway.notes.clone();
    until("a second attempt", || notes.has(Trouble::Refused, "nobody listens")).await;
    let broker = Embedded::at(address).await;
    let next = gateway.next().await.said;
    assert_eq!(next, Said::LinkUp { resumed: false });
    let mut client = Client::connect(broker.address, "printer").await;
    client.say("p/total", "5").await;
    assert_eq!(gateway.totals(1).await, [5]);
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn nobody_listens() {
    let free = TcpListener::bind(("127.0.0.1", 0)).unwrap();
    let address = free.local_addr().unwrap();
    drop(free);
    let mut gateway = Gateway::start(address, printer());
    assert!(gateway.hear_lost().await.contains("nobody listens there"));
    assert!(gateway.notes.has(Trouble::Refused, "nobody listens there"));
    let took = gateway.stop().await;
    assert!(took < SOON, "{took:?}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_server_that_says_nothing() {
    let silent = TcpListener::bind(("127.0.0.1", 0)).unwrap();
    let address = silent.local_addr().unwrap();
    // The system takes connections by itself; nobody ever reads them.
    let mut gateway = Gateway::start(address, printer());
    assert!(gateway.hear_lost().await.contains("does not answer"));
    assert!(gateway.notes.has(Trouble::TimedOut, "does not answer"));
    let took = gateway.stop().await;
    assert!(took < SOON, "{took:?}");
}

/// Silence is noticed within two keep-alives.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_falls_silent() {
    let (embedded, printer) = (Embedded::start().await, printer());
    let tap = Tap::to(embedded.address).await;
    let mut watchful = broker(tap.address);
    watchful.keep_alive.0 = Duration::from_secs(1);
    let mut gateway = Gateway::with(watchful, printer, 8);
    gateway.hear_up().await;
    tap.fall_silent();
    assert!(gateway.hear_lost().await.contains("has gone silent"));
    assert!(gateway.notes.has(Trouble::TimedOut, "has gone silent"));
    let took = gateway.stop().await;
    assert!(took < SOON, "{took:?}");
}

/// Acknowledgements that cannot leave any more do not hold up the end.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stop_while_the_broker_is_silent() {
    let embedded = Embedded::start().await;
    let tap = Tap::to(embedded.address).await;
    let mut gateway = Gateway::with(broker(tap.address), printer(), 8);
    gateway.hear_up().await;
    let mut client = Client::connect(embedded.address, "printer").await;
    client.say_totals("p/total", 0..4).await;
    until("work in flight", || !gateway.deliveries.is_empty()).await;
    tap.fall_silent();
    let took = gateway.stop().await;
    assert!(took < SOON, "{took:?}");
}

/// Nor does a gateway that takes and answers nothing any more.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stop_while_the_intake_is_full() {
    let embedded = Embedded::start().await;
    let mut gateway = Gateway::with(broker(embedded.address), printer(), 1);
    gateway.hear_up().await;
    let mut client = Client::connect(embedded.address, "printer").await;
    client.say("p/total", "0").await;
    until("a full intake", || gateway.deliveries.len() == 1).await;
    client.say_totals("p/total", 1..10).await;
    let took = gateway.stop_deaf().await;
    assert!(took < SOON, "{took:?}");
}

/// The same for a link that is lost while nobody takes that it is.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stop_while_nobody_hears_of_the_loss() {
    let embedded = Embedded::start().await;
    let mut gateway = Gateway::with(broker(embedded.address), printer(), 1);
    gateway.hear_up().await;
    let mut client = Client::connect(embedded.address, "printer").await;
    client.say_totals("p/total", 0..2).await;
    until("a full intake", || gateway.deliveries.len() == 1).await;
    drop(client);
    embedded.end().await;
    let notes = gateway.notes.clone();
    until("trouble", || !notes.troubles().is_empty()).await;
    let took = gateway.stop_deaf().await;
    assert!(took < SOON, "{took:?}");
}

/// The link ends when the gateway takes nothing any more, also without an order to stop.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_intake_is_gone() {
    let embedded = Embedded::start().await;
    let gateway = Gateway::up(embedded.address, printer()).await;
    let mut client = Client::connect(embedded.address, "printer").await;
    let wanted = gateway.wanted.clone();
    let ending = tokio::spawn(gateway.ended());
    client.say("p/total", "1").await;
    ending.await.unwrap();
    drop(wanted);
    let mut gateway = Gateway::start(embedded.address, printer());
    assert_eq!(gateway.totals(1).await, [1]);
    gateway.stop().await;
}

/// One that is queued, and one that is stored: each is told, acknowledged and read past, and what
/// comes after it arrives.
async fn oversized(address: SocketAddr, version: &str) {
    let mut client = Client::connect(address, "printer").await;
    client.say_so("p/total", AtLeastOnce, true, vec![b'1'; 900_000]).await;
    let mut broker = broker(address);
    broker.version = serde_json::from_value(json!(version)).unwrap();
    let mut gateway = Gateway::with(broker.clone(), printer(), 8);
    gateway.hear_up().await;
    for at in 0..3 {
        client.say("p/total", vec![b'1'; 5_000 + at]).await;
        client.say_so("p/total", ExactlyOnce, false, vec![b'1'; 300_000]).await;
        client.say("p/total", at.to_string()).await;
        assert_eq!(gateway.totals(1).await, [at as u64]);
    }
    if version == "3.1.1" {
        let told = gateway.notes.troubles();
        let larger = |(kind, why): &&(Trouble, String)| {
            *kind == Trouble::TooLarge
                && why.contains(" bytes on p/total is larger than largest-message (4096)")
        };
        assert_eq!(told.iter().filter(larger).count(), 7, "{told:?}");
    } else {
        // The broker was told the limit, and sends none of them.
        assert_eq!(gateway.notes.troubles(), Vec::new());
    }
    gateway.stop().await;
    client.say_so("p/total", AtLeastOnce, true, "").await;
    let mut gateway = Gateway::with(broker, printer(), 8);
    assert!(gateway.hear_up().await);
    client.say("p/total", "77").await;
    assert_eq!(gateway.totals(1).await, [77], "nothing was left behind");
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_message_that_is_too_large() {
    oversized(Embedded::start().await.address, "3.1.1").await;
    if let Some(broker) = Mosquitto::start("a_message_that_is_too_large", false) {
        oversized(broker.address, "3.1.1").await;
    }
    if let Some(broker) = Mosquitto::start("a_message_that_is_too_large", false) {
        oversized(broker.address, "5.0").await;
    }
}

/// A machine that only has outputs has nothing to subscribe to.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn nothing_to_subscribe_to() {
    let embedded = Embedded::start().await;
    let lock = json!({
        "name": "lock", "drive": "print-permit", "topic": "p/lock", "permit": "open",
        "refuse": "shut",
    });
    let mut gateway = Gateway::start(embedded.address, settings(&json!([]), &json!([lock])));
    assert_eq!(gateway.next().await.said, Said::LinkUp { resumed: false });
    let mut client = Client::connect(embedded.address, "printer").await;
    client.subscribe("p/lock").await;
    client.hear_payload("shut").await;
    assert_eq!(gateway.notes.troubles(), Vec::new());
    gateway.stop().await;
}
