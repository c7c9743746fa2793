//! A rack asks: the answer reaches the broker before the question is acknowledged.

use std::time::{Duration, Instant};

use serde_json::{Value, json};
use stencilward_adapters::mqtt::Settings;
use stencilward_domain::decision::{Cause, Decision, Rule};
use stencilward_domain::event::Position;
use stencilward_domain::names::StencilCode;
use stencilward_domain::reason::Reason;

use crate::brokers::{Embedded, Mosquitto};
use crate::client::Client;
use crate::gateway::{Gateway, settings, until};
use crate::tap::{Seen, Tap};

fn rack() -> Settings {
    let asked = json!({
        "topic": "r/ask", "signal": "store-asked", "stencil": "/s", "slot": "/slot",
        "identity": "/id", "answer": "r/answer",
    });
    settings(&json!([asked]), &json!([]))
}

fn question(id: usize) -> String {
    json!({ "s": "ST-1", "slot": "A1", "id": format!("q{id}") }).to_string()
}

fn decision(reasons: Vec<Cause>) -> Decision {
    let stencil = StencilCode::new("ST-1").ok();
    Decision { rule: Rule::Store, stencil, machine: None, slot: None, reasons }
}

/// MQTT 3.1.1 (OASIS, 2014-10-29), 4.4: a question whose acknowledgement did not leave comes again.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_answer_goes_before_the_acknowledgement() {
    let broker = Embedded::start().await;
    let tap = Tap::to(broker.address).await;
    let mut gateway = Gateway::up(tap.address, rack()).await;
    let mut listener = Client::connect(broker.address, "listener").await;
    listener.subscribe("r/answer").await;
    let mut client = Client::connect(broker.address, "rack").await;
    client.say("r/ask", question(1)).await;
    let delivery = gateway.take().await;
    assert_eq!(tap.seen(), []);
    let because = Some(Position(17));
    let unwashed = Cause { reason: Reason::Unwashed { strokes: 3 }, because };
    delivery.receipt.send(vec![decision(vec![unwashed])]).unwrap();
    let answer: Value = serde_json::from_slice(&listener.hear().await.payload).unwrap();
    assert_eq!(answer["request"], "q1");
    assert_eq!(answer["permitted"], false);
    assert_eq!(answer["reasons"][0]["code"], "unwashed");
    assert_eq!(answer["reasons"][0]["because"], 17);
    until("the acknowledgement", || tap.seen().len() == 2).await;
    assert!(
        matches!(tap.seen().as_slice(), [Seen::Publish(topic), Seen::Ack(_)] if topic == "r/answer")
    );
    gateway.stop().await;
}

/// While the broker is away an answer cannot leave: the loss is told at once, and the question
/// is answered when it comes again, but no answer is published that nobody waits for.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_loss_does_not_wait_for_answers() {
    let Some(mut broker) = Mosquitto::start("a_loss_does_not_wait_for_answers", true) else {
        return;
    };
    let mut gateway = Gateway::up(broker.address, rack()).await;
    let mut client = Client::connect(broker.address, "rack").await;
    let mut held = Vec::new();
    for id in 0..3 {
        client.say("r/ask", question(id)).await;
        held.push(gateway.take().await.receipt);
    }
    drop(client);
    broker.end();
    let begun = Instant::now();
    gateway.hear_lost().await;
    assert!(begun.elapsed() < Duration::from_secs(4), "{:?}", begun.elapsed());
    for receipt in held {
        // Nobody may wait for it any more.
        let _ = receipt.send(vec![decision(Vec::new())]);
    }
    broker.again();
    let mut listener = Client::connect(broker.address, "listener").await;
    listener.subscribe("r/answer").await;
    for id in 0..3 {
        let delivery = loop {
            let delivery = gateway.take().await;
            if delivery.signals.iter().any(|signal| signal.identity.is_some()) {
                break delivery;
            }
        };
        delivery.receipt.send(vec![decision(Vec::new())]).unwrap();
        let answer: Value = serde_json::from_slice(&listener.hear().await.payload).unwrap();
        assert_eq!(
            (&answer["request"], &answer["permitted"]),
            (&json!(format!("q{id}")), &json!(true))
        );
    }
    gateway.stop().await;
}
