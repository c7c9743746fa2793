//! What shares a topic or a broker: machines, entries, and the word of each about its own link.

use rumqttc::QoS;
use serde_json::json;
use stencilward_adapters::link::Trouble;
use stencilward_domain::signal::Said;

use crate::brokers::{Embedded, Mosquitto};
use crate::client::Client;
use crate::gateway::{Gateway, broker, name, settings, total};

/// A payload that one machine's settings cannot read says nothing against another machine.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_trouble_of_one_machine_is_not_another_ones() {
    let embedded = Embedded::start().await;
    let reads = |pointer: &str| {
        let total =
            json!({ "topic": "t", "signal": "stroke-total", "width": 32, "value": pointer });
        settings(&json!([total]), &json!([]))
    };
    let machines = vec![(name("one"), reads("/a")), (name("two"), reads("/b"))];
    let mut gateway = Gateway::of(broker(embedded.address), machines, 8);
    gateway.hear_up().await;
    let mut client = Client::connect(embedded.address, "both").await;
    client.say("t", r#"{"a":5}"#).await;
    let signal = gateway.next_but_link().await;
    assert_eq!((signal.machine.as_str(), total(&signal)), ("one", Some(5)));
    assert!(gateway.notes.has(Trouble::Missing, "/b"));
    gateway.stop().await;
}

/// A stored message tells of a present state and of something past: the state counts.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_stored_state_counts_though_the_past_does_not() {
    let embedded = Embedded::start().await;
    let made_of = settings(
        &json!([
            { "topic": "t", "signal": "stroke-total", "width": 32, "value": "/total" },
            { "topic": "t", "signal": "boards-counted", "count": "/boards",
              "identity": "/boards" },
        ]),
        &json!([]),
    );
    let mut client = Client::connect(embedded.address, "printer").await;
    let payload = r#"{"total":5,"boards":1}"#;
    client.say_so("t", QoS::AtLeastOnce, true, payload).await;
    let mut gateway = Gateway::up(embedded.address, made_of).await;
    assert_eq!(total(&gateway.next().await), Some(5));
    assert!(gateway.notes.has(Trouble::Stale, "past"));
    client.say("t", r#"{"total":6,"boards":2}"#).await;
    assert_eq!(total(&gateway.next().await), Some(6));
    assert_eq!(gateway.next().await.said, Said::BoardsCounted { count: 2 });
    gateway.stop().await;
}

/// A machine that says again and again that it is there has one link, and it is there again
/// with a broker that kept all it said.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_machine_that_tells_of_its_own_link() {
    let Some(mut mosquitto) = Mosquitto::start("a_machine_that_tells_of_its_own_link", true) else {
        return;
    };
    let own = settings(
        &json!([{ "topic": "p/alive", "signal": "link", "up": ["online"], "lost": ["offline"] }]),
        &json!([]),
    );
    let total_of = settings(
        &json!([{ "topic": "p/total", "signal": "stroke-total", "width": 32 }]),
        &json!([]),
    );
    let machines = vec![(name("own"), own), (name("other"), total_of)];
    let mut gateway = Gateway::of(broker(mosquitto.address), machines, 8);
    let of = |signal: stencilward_domain::signal::Signal| {
        (signal.machine.as_str().to_owned(), signal.said)
    };
    let link = |machine: &str, resumed| (machine.to_owned(), Said::LinkUp { resumed });
    assert_eq!(of(gateway.next().await), link("other", false));
    let mut client = Client::connect(mosquitto.address, "p").await;
    for _ in 0..3 {
        client.say("p/alive", "online").await;
    }
    assert_eq!(of(gateway.next().await), link("own", false));
    client.say("p/total", "7").await;
    assert_eq!(total(&gateway.next().await), Some(7));
    drop(client);
    mosquitto.end();
    gateway.hear_lost().await;
    gateway.hear_lost().await;
    mosquitto.again();
    assert_eq!(of(gateway.next().await), link("own", true));
    assert_eq!(of(gateway.next().await), link("other", true));
    let mut client = Client::connect(mosquitto.address, "p").await;
    client.say("p/alive", "offline").await;
    // A total that the broker did not see acknowledged before its end may come again first.
    let (machine, said) = loop {
        let signal = gateway.next().await;
        if total(&signal) != Some(7) {
            break of(signal);
        }
    };
    assert!(machine == "own" && matches!(said, Said::LinkLost { .. }), "{machine}: {said:?}");
    gateway.stop().await;
}
