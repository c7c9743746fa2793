//! Levels of a topic that have a name, and messages that bear a number.

use serde_json::json;
use stencilward_adapters::link::Trouble;
use stencilward_adapters::mqtt::{Broker, Machine, told_twice};
use stencilward_adapters::simulated::Simulated as _;
use stencilward_domain::names::{SlotName, StencilCode};
use stencilward_domain::signal::Said;

use crate::brokers::Embedded;
use crate::client::Client;
use crate::gateway::{Gateway, name, settings, until};

/// One entry serves all printers of a hall, and all slots of a rack.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn name_machine_slot_and_stencil() {
    let embedded = Embedded::start().await;
    let entries = json!([
        { "topic": "hall/{line}/{machine}/strokes", "signal": "strokes-done", "count": "",
          "machine": "{machine}", "identity": "/id", "qos": 1 },
        { "topic": "rack/{slot}/{code}", "signal": "slot-occupied", "slot": "{slot}",
          "stencil": "{code}" },
    ]);
    let mut entries = entries;
    entries[0]["count"] = json!("/n");
    let mut gateway = Gateway::up(embedded.address, settings(&entries, &json!([]))).await;
    let mut client = Client::connect(embedded.address, "hall").await;
    for printer in ["printer-3", "printer-4"] {
        let topic = format!("hall/7/{printer}/strokes");
        client.say(&topic, json!({ "n": 2, "id": printer }).to_string()).await;
        let signal = gateway.next().await;
        assert_eq!((signal.machine, signal.said), (name(printer), Said::StrokesDone { count: 2 }));
    }
    client.say("rack/A1/ST-9", "").await;
    let occupied = Said::SlotOccupied {
        slot: SlotName::new("A1").unwrap(),
        code: Some(StencilCode::new("ST-9").unwrap()),
    };
    assert_eq!(gateway.next().await.said, occupied);
    // What no name can be is told with the topic, and nothing else is done.
    client.say(&format!("rack/A1/{}", "x".repeat(70)), "").await;
    let notes = gateway.notes.clone();
    until("trouble", || notes.has(Trouble::Senseless, "message on rack/A1/xxx")).await;
    client.say("hall/7/printer-3/strokes", "{\"n\":1}").await;
    until("trouble", || {
        notes
            .has(Trouble::Missing, "message on hall/7/printer-3/strokes: /id is not in the payload")
    })
    .await;
    // A simulated rack says its slot in the topic, too.
    let machine =
        Machine::at(Broker::plain(embedded.address), &name("rack"), settings(&entries, &json!([])));
    machine.say(&occupied, None).await.unwrap();
    assert_eq!(gateway.next().await.said, occupied);
    gateway.stop().await;
}

/// The number arrives before what the message says, and also when nothing else can be read.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn numbers_are_handed_in() {
    let embedded = Embedded::start().await;
    let entries = json!([
        { "topic": "p/{line}", "signal": "stroke-total", "width": 32, "value": "/total",
          "sequence": "/n" },
    ]);
    let mut gateway = Gateway::up(embedded.address, settings(&entries, &json!([]))).await;
    let mut client = Client::connect(embedded.address, "printer").await;
    client.say("p/1", r#"{"n":41,"total":7}"#).await;
    let numbered = |number| Said::MessageNumbered { sequence: "p/1".to_owned(), number };
    assert_eq!(gateway.next().await.said, numbered(41));
    assert_eq!(gateway.totals(1).await, [7]);
    client.say("p/1", r#"{"n":42,"total":"x"}"#).await;
    assert_eq!(gateway.next().await.said, numbered(42));
    assert!(gateway.notes.has(Trouble::Unreadable, "message on p/1"));
    gateway.stop().await;
}

#[test]
fn partly_overlapping_filters_without_an_identity_are_a_fault() {
    let entries = |identity: &str| {
        let mut adding =
            json!({ "topic": "a/+", "signal": "strokes-done", "count": "/n", "qos": 0 });
        if !identity.is_empty() {
            adding["identity"] = json!(identity);
        }
        let total = json!({ "topic": "{x}/b", "signal": "stroke-total", "width": 32 });
        settings(&json!([adding, total]), &json!([]))
    };
    let (bare, known) = (entries(""), entries("/id"));
    let found = told_twice(&[("m".to_owned(), &bare)]);
    assert_eq!(found.len(), 1);
    assert_eq!(found[0].0, "m.messages[0].topic");
    assert!(found[0].1.contains("overlaps with +/b"), "{found:?}");
    assert_eq!(told_twice(&[("m".to_owned(), &known)]), []);
}
