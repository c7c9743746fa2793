//! Questions are answered before they are acknowledged.

use serde_json::{Value, json};
use stencilward_adapters::mqtt::{Machine, Settings};
use stencilward_adapters::simulated::{Answered, Simulated as _};
use stencilward_domain::decision::{Cause, Decision, Rule};
use stencilward_domain::event::Position;
use stencilward_domain::names::{SlotName, StencilCode};
use stencilward_domain::reason::Reason;
use stencilward_domain::signal::Said;

use crate::brokers::{Embedded, Mosquitto};
use crate::client::Client;
use crate::gateway::{Gateway, name, settings, until, within};
use crate::tap::{Seen, Tap};

fn rack() -> Settings {
    let asked = json!({
        "topic": "r/asked", "signal": "store-asked", "identity": "/id", "stencil": "/stencil",
        "slot": "/slot", "answer": "r/answer",
    });
    settings(&json!([asked]), &json!([]))
}

fn refusal() -> Decision {
    Decision {
        rule: Rule::Store,
        stencil: Some(StencilCode::new("ST-0001").unwrap()),
        machine: Some(name("printer-1")),
        slot: Some(SlotName::new("A1").unwrap()),
        order: None,
        by: None,
        reasons: vec![Cause {
            reason: Reason::Unwashed { strokes: 42 },
            because: Some(Position(1207)),
        }],
    }
}

fn permission() -> Decision {
    Decision { reasons: Vec::new(), ..refusal() }
}

/// The example in config/README.md. MQTT 3.1.1 (OASIS, 2014-10-29), 4.4: a question whose
/// acknowledgement did not leave comes again.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn the_answer_leaves_before_the_acknowledgement() {
    let broker = Embedded::start().await;
    let tap = Tap::to(broker.address).await;
    let mut gateway = Gateway::up(tap.address, rack()).await;
    let mut client = Client::connect(broker.address, "rack").await;
    client.subscribe("r/answer").await;
    let question = json!({ "id": "r-17", "stencil": "ST-0001", "slot": "A1" });
    client.say("r/asked", question.to_string()).await;
    let delivery = gateway.take().await;
    assert!(matches!(delivery.signals[0].said, Said::StoreAsked { .. }));
    assert_eq!(tap.seen(), [], "neither answer nor acknowledgement before it is durable");
    delivery.receipt.send(vec![refusal()]).unwrap();
    let answer: Value = serde_json::from_slice(&client.hear().await.payload).unwrap();
    let documented = json!({
        "request": "r-17", "rule": "store", "stencil": "ST-0001", "slot": "A1",
        "permitted": false,
        "reasons": [{
            "code": "unwashed",
            "sentence": "printed with since its last wash (42 strokes): wash it first",
            "because": 1207,
        }],
    });
    assert_eq!(answer, documented);
    until("the acknowledgement", || !tap.acks().is_empty()).await;
    let [Seen::Publish(topic), Seen::Ack(_)] = &tap.seen()[..] else { panic!("{:?}", tap.seen()) };
    assert_eq!(topic, "r/answer");
    gateway.stop().await;
}

/// The same between the link and a simulated machine; a stop waits for the answer.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_simulated_rack_hears_its_answers() {
    let broker = Embedded::start().await;
    let mut gateway = Gateway::up(broker.address, rack()).await;
    let machine = Machine::start(broker.address, &name("rack-1"), rack());
    let asked = Said::StoreAsked {
        code: StencilCode::new("ST-0001").unwrap(),
        slot: Some(SlotName::new("A1").unwrap()),
    };
    machine.say(&asked, Some("r-18")).await.unwrap();
    let delivery = gateway.take().await;
    assert_eq!(delivery.signals[0].said, asked);
    gateway.stop.cancel();
    delivery.receipt.send(vec![refusal()]).unwrap();
    gateway.stop().await;
    let answer = within("an answer", machine.answered()).await.unwrap();
    let expected = Answered {
        request: Some("r-18".to_owned()),
        permitted: false,
        reasons: vec!["unwashed".to_owned()],
    };
    assert_eq!(answer, expected);
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
        let question = json!({ "id": format!("q{id}"), "stencil": "ST-0001" });
        client.say("r/asked", question.to_string()).await;
        held.push(gateway.take().await.receipt);
    }
    drop(client);
    broker.end();
    gateway.hear_lost().await;
    for receipt in held {
        // Nobody may wait for it any more.
        let _ = receipt.send(vec![permission()]);
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
        delivery.receipt.send(vec![permission()]).unwrap();
        let answer: Value = serde_json::from_slice(&listener.hear().await.payload).unwrap();
        assert_eq!(
            (&answer["request"], &answer["permitted"]),
            (&json!(format!("q{id}")), &json!(true))
        );
    }
    gateway.stop().await;
}
