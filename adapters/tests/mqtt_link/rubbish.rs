//! Messages that are no use: told by kind, not delivered, and acknowledged all the same.

use rumqttc::QoS;
use serde_json::{Value, json};
use stencilward_adapters::link::Trouble;
use stencilward_adapters::mqtt::Settings;

use crate::brokers::Embedded;
use crate::client::Client;
use crate::gateway::{Gateway, printer, settings, until};

fn wash() -> Settings {
    let ended = json!({
        "topic": "w", "signal": "wash-ended", "identity": "/id", "stencil": "/code",
        "outcome": "/how", "outcomes": { "ok": "passed" },
    });
    let total = json!({ "topic": "p/total", "signal": "stroke-total", "width": 32 });
    settings(&json!([ended, total]), &json!([]))
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn is_told_and_acknowledged() {
    let good = json!({ "id": 1, "code": "ST-1", "how": "ok" });
    let but = |key: &str, value: Value| {
        let mut message = good.clone();
        message[key] = value;
        message.to_string().into_bytes()
    };
    let cases: Vec<(Trouble, Vec<u8>)> = vec![
        (Trouble::Unreadable, Vec::new()),
        (Trouble::Unreadable, b"\xff\xfe\x00".to_vec()),
        (Trouble::Unreadable, b"{\"id\":1".to_vec()),
        (Trouble::Unreadable, "[".repeat(4_000).into_bytes()),
        (Trouble::Unreadable, but("code", json!({ "deep": 1 }))),
        (Trouble::Unreadable, but("id", json!([1]))),
        (Trouble::Missing, b"null".to_vec()),
        (Trouble::Missing, but("id", Value::Null)),
        (Trouble::Missing, but("id", json!(" "))),
        (Trouble::Missing, but("how", Value::Null)),
        (Trouble::Senseless, but("how", json!("perhaps"))),
        (Trouble::Senseless, but("code", json!("x".repeat(65)))),
        (Trouble::Senseless, but("code", json!("a\u{7}b"))),
    ];
    let broker = Embedded::start().await;
    let mut gateway = Gateway::up(broker.address, wash()).await;
    let mut client = Client::connect(broker.address, "washer").await;
    for (at, (kind, payload)) in cases.iter().enumerate() {
        client.say("w", payload.clone()).await;
        let notes = gateway.notes.clone();
        until("trouble", || notes.troubles().len() == at + 1).await;
        let (told, why) = notes.troubles().remove(at);
        assert_eq!(told, *kind, "{why}");
        assert!(why.contains("message on w: ") && why.len() < 300, "{why}");
    }
    client.say("p/total", "1").await;
    assert_eq!(gateway.totals(1).await, [1]);
    gateway.stop().await;
    let mut gateway = Gateway::up(broker.address, wash()).await;
    client.say("p/total", "2").await;
    assert_eq!(gateway.totals(1).await, [2]);
    assert_eq!(gateway.notes.troubles(), Vec::new());
    gateway.stop().await;
}

/// A session may hold messages of a topic that the settings no longer have.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn of_topics_no_longer_set_is_unmapped() {
    let broker = Embedded::start().await;
    Gateway::up(broker.address, wash()).await.stop().await;
    let mut client = Client::connect(broker.address, "washer").await;
    client.say("w", "{}").await;
    let mut gateway = Gateway::up(broker.address, printer()).await;
    let notes = gateway.notes.clone();
    until("trouble", || notes.has(Trouble::Unmapped, "topic w")).await;
    client.say("p/total", "2").await;
    assert_eq!(gateway.totals(1).await, [2]);
    gateway.stop().await;
}

/// States may come from the broker's store; what happened once may not.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn stored_messages_of_the_past_are_stale() {
    let broker = Embedded::start().await;
    let mut client = Client::connect(broker.address, "washer").await;
    let ended = json!({ "id": 1, "code": "ST-1", "how": "ok" });
    client.say_so("w", QoS::AtLeastOnce, true, ended.to_string()).await;
    client.say_so("p/total", QoS::AtLeastOnce, true, "9").await;
    let mut gateway = Gateway::start(broker.address, wash());
    assert_eq!(gateway.totals(1).await, [9]);
    let notes = gateway.notes.clone();
    until("trouble", || notes.has(Trouble::Stale, "without retain")).await;
    gateway.stop().await;
}
