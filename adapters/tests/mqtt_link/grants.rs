//! What a broker makes of subscriptions and sessions: refused, weakened, not answered, taken over.

use std::time::Duration;

use futures::future::join_all;
use serde_json::{Value, json};
use stencilward_adapters::link::Trouble;
use stencilward_adapters::mqtt::Settings;
use stencilward_domain::signal::Said;

use crate::brokers::{Embedded, Mosquitto};
use crate::client::Client;
use crate::gateway::{Gateway, broker, name, printer, settings, until};
use crate::scripted::{Peer, SUBSCRIBE};
use crate::tap::Tap;

fn five(address: std::net::SocketAddr) -> stencilward_adapters::mqtt::Broker {
    let mut broker = broker(address);
    broker.version = serde_json::from_value(json!("5.0")).unwrap();
    broker
}

/// MQTT 5.0, 3.9.3: the reason codes. The machine whose topic it is, is not heard, and the other
/// one is.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_refused_filter_of_5_0_is_told_with_its_reason() {
    let words = [(0x87, "access list"), (0x8f, "filter"), (0x97, "limits"), (0xa2, "wildcards")];
    let refused = words.map(async |(code, word)| {
        let (peer, address) = Peer::listen().await;
        let other = json!([{ "topic": "z", "signal": "stroke-total", "width": 32 }]);
        let machines =
            vec![(name("printer-1"), printer()), (name("printer-2"), settings(&other, &json!([])))];
        let mut gateway = Gateway::of(five(address), machines, 8);
        let mut wire = peer.consumer().await;
        wire.send(&[0x20, 3, 0, 0, 0]).await;
        let subscribe = wire.expect(SUBSCRIBE).await;
        wire.send(&[0x90, 5, subscribe[1], subscribe[2], 0, code, 1]).await;
        let up = (gateway.next().await, gateway.next().await);
        assert!(matches!(up.0.said, Said::LinkUp { resumed: false }), "{up:?}");
        let lost = gateway.next().await;
        assert_eq!(lost.machine, name("printer-1"));
        assert!(matches!(&lost.said, Said::LinkLost { why } if why.contains(word)), "{lost:?}");
        assert!(gateway.notes.has(Trouble::Refused, "subscription to p/total"));
        // A number of another machine is heard.
        wire.send(&[0x32, 7, 0, 1, b'z', 0, 9, 0, b'7']).await;
        assert_eq!(gateway.totals(1).await, [7]);
        gateway.kill().await;
    });
    join_all(refused).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_weaker_grant_is_told() {
    let (peer, address) = Peer::listen().await;
    let mut gateway = Gateway::start(address, printer());
    let mut wire = peer.consumer().await;
    wire.let_in(0).await;
    gateway.hear_up().await;
    let notes = gateway.notes.clone();
    until("trouble", || notes.has(Trouble::Weakened, "grants QoS 0 for p/total, not 1")).await;
    gateway.kill().await;
}

/// Ten seconds are given; more than the tests of other silences, for a broker at work.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_subscription_that_nobody_answers() {
    let (peer, address) = Peer::listen().await;
    let mut patient = broker(address);
    patient.keep_alive.0 = Duration::from_secs(60);
    let mut gateway = Gateway::with(patient, printer(), 8);
    let mut wire = peer.consumer().await;
    wire.send(&[0x20, 2, 0, 0]).await;
    wire.expect(SUBSCRIBE).await;
    let why = gateway.hear_lost().await;
    assert!(why.contains("does not answer a subscription"), "{why}");
    gateway.kill().await;
}

/// An answer of a broker that knows 3.1.1 only (MQTT 3.1.1, 3.2.2.3) to one who speaks 5.0, and
/// refusals of 5.0 (3.2.2.2) with the broker's own words.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn refusals_of_5_0_say_why() {
    let own = [&[0x20, 7, 0, 0x87, 4, 0x1f, 0, 1][..], b"x"].concat();
    let cases: [(&[u8], &str); 5] = [
        (&[0x20, 2, 0, 1], "`version`"),
        (&[0x20, 3, 0, 0x84, 0], "does not speak MQTT 5.0"),
        (&[0x20, 3, 0, 0x86, 0], "password"),
        (&own, "access list allow it (it says: x)"),
        (&[0xe0, 1, 0x8b], "shut down"),
    ];
    let refused = cases.map(async |(answer, word)| {
        let (peer, address) = Peer::listen().await;
        let mut gateway = Gateway::with(five(address), printer(), 8);
        let mut wire = peer.consumer().await;
        wire.send(answer).await;
        let why = gateway.hear_lost().await;
        assert!(why.contains(word), "{why}");
        gateway.stop().await;
    });
    join_all(refused).await;
}

/// MQTT 5.0, 3.1.2.11: what is asked of the broker, byte by byte.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_session_of_5_0_is_asked_to_be_kept() {
    let (peer, address) = Peer::listen().await;
    let mut asking = five(address);
    asking.session_expiry.0 = Duration::from_secs(0x0102_0304);
    asking.receive_maximum = 0x0506;
    asking.largest_message = 0x0007_0809;
    let gateway = Gateway::with(asking, printer(), 8);
    let connect = peer.consumer_says().await;
    let clean_start = connect[8] & 0b10;
    assert_eq!(clean_start, 0, "{connect:x?}");
    for property in [&[0x11, 1, 2, 3, 4][..], &[0x21, 5, 6], &[0x27, 0, 7, 8, 9]] {
        assert!(connect.windows(property.len()).any(|part| part == property), "{connect:x?}");
    }
    gateway.kill().await;
}

/// A broker that forgets sooner than it was asked to says so (MQTT 5.0, 3.2.2.3.2).
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_session_that_is_kept_for_less_long_is_told() {
    let (peer, address) = Peer::listen().await;
    let gateway = Gateway::with(five(address), printer(), 8);
    let mut wire = peer.consumer().await;
    wire.send(&[0x20, 8, 0, 0, 5, 0x11, 0, 0, 0, 9]).await;
    let notes = gateway.notes.clone();
    until("trouble", || notes.has(Trouble::Weakened, "for 9 s only")).await;
    gateway.kill().await;
}

/// Two gateways with one client id: both are told, and they do not throw each other out at full
/// speed. MQTT 3.1.1, 3.1.4-2: the broker ends the older connection.
async fn two_with_one_client_id(address: std::net::SocketAddr, version: &str) {
    let mut same = broker(address);
    same.version = serde_json::from_value(json!(version)).unwrap();
    let first = Gateway::with(same.clone(), printer(), 1_000);
    let second = Gateway::with(same, printer(), 1_000);
    let (one, other) = (first.notes.clone(), second.notes.clone());
    let told =
        || one.has(Trouble::TakenOver, "gateway-in") && other.has(Trouble::TakenOver, "gateway-in");
    until("both are told", told).await;
    let losses = |notes: &crate::gateway::Notes| {
        notes.troubles().iter().filter(|(_, why)| !why.starts_with("publishing")).count()
    };
    let before = (losses(&one), losses(&other));
    tokio::time::sleep(Duration::from_secs(3)).await;
    let after = (losses(&one), losses(&other));
    assert!(after.0 - before.0 <= 4 && after.1 - before.1 <= 4, "{before:?} {after:?}");
    first.kill().await;
    second.kill().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_client_id_that_another_client_has() {
    if let Some(broker) = Mosquitto::start("a_client_id_that_another_client_has", false) {
        tokio::join!(two_with_one_client_id(broker.address, "3.1.1"), async {
            let broker = Mosquitto::start("a_client_id_that_another_client_has", false);
            two_with_one_client_id(broker.unwrap().address, "5.0").await;
        });
    }
}

fn lock() -> Settings {
    let lock = json!({
        "name": "lock", "drive": "print-permit", "topic": "p/lock", "permit": "open",
        "refuse": "shut", "read-back": "p/shown",
    });
    settings(&json!([]), &json!([lock]))
}

/// What a machine showed before the broker was lost is not what it shows now.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn read_backs_are_forgotten_with_the_broker() {
    let embedded = Embedded::start().await;
    let tap = Tap::to(embedded.address).await;
    let mut watchful = broker(tap.address);
    watchful.keep_alive.0 = Duration::from_secs(1);
    let mut gateway = Gateway::with(watchful, lock(), 8);
    gateway.hear_up().await;
    let mut client = Client::connect(embedded.address, "printer").await;
    client.say("p/shown", "shut").await;
    let notes = gateway.notes.clone();
    until("a read-back", || notes.last_output() == Some((false, Some(false)))).await;
    tap.fall_silent();
    gateway.hear_lost().await;
    until("nothing is known of it", || notes.last_output() == Some((false, None))).await;
    tap.recover();
    gateway.hear_up().await;
    client.say("p/shown", "open").await;
    until("it shows what it should not", || notes.last_output() == Some((false, Some(true)))).await;
    gateway.kill().await;
}

/// A tension that was measured once must not look as if it had been measured now.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stored_measurement_is_stale() {
    let embedded = Embedded::start().await;
    let entries: Value = json!([
        { "topic": "t", "signal": "measured", "value": "/t", "quantity": "tension",
          "unit": "N/cm", "stencil": "/code" },
        { "topic": "u", "signal": "stroke-total", "width": 32 },
    ]);
    let mut client = Client::connect(embedded.address, "gauge").await;
    let payload = json!({ "t": 31.5, "code": "ST-1" }).to_string();
    client.say_so("t", rumqttc::QoS::AtLeastOnce, true, payload.clone()).await;
    client.say_so("u", rumqttc::QoS::AtLeastOnce, true, "5").await;
    let mut gateway = Gateway::up(embedded.address, settings(&entries, &json!([]))).await;
    let notes = gateway.notes.clone();
    until("trouble", || notes.has(Trouble::Stale, "message on t")).await;
    assert_eq!(gateway.totals(1).await, [5]);
    client.say("t", payload).await;
    assert!(matches!(gateway.next().await.said, Said::Measured { .. }));
    gateway.stop().await;
}
