//! Outputs refuse at first and at the end, follow what is wanted, and are compared.

use std::net::SocketAddr;
use std::sync::Arc;

use serde_json::json;
use stencilward_adapters::link::Trouble;
use stencilward_adapters::mqtt::{Machine, Settings};
use stencilward_adapters::simulated::Simulated as _;
use stencilward_domain::names::OutputName;
use stencilward_domain::outputs::Wanted;

use crate::brokers::{Embedded, Mosquitto};
use crate::client::Client;
use crate::gateway::{Gateway, name, settings, until};

fn lock() -> OutputName {
    OutputName::new("lock").unwrap()
}

fn permitting() -> Arc<Wanted> {
    let mut wanted = Wanted::default();
    wanted.permit(name("printer-1"), lock());
    Arc::new(wanted)
}

/// A lock that tells its real state inside JSON, at a pointer that has to be unescaped.
fn locked() -> Settings {
    let output = json!({
        "name": "lock", "drive": "print-permit", "topic": "p/lock", "permit": "open",
        "refuse": "shut", "read-back": "p/shown", "value": "/lock~1state",
    });
    settings(&json!([]), &json!([output]))
}

async fn follows(address: SocketAddr) {
    let mut gateway = Gateway::up(address, locked()).await;
    let machine = Machine::start(address, &name("printer-1"), locked());
    let shown = machine.output(&lock()).unwrap();
    let notes = gateway.notes.clone();
    until("a refusal, read back", || notes.last_output() == Some((false, Some(false)))).await;
    gateway.wanted.send_replace(permitting());
    until("a permission, read back", || notes.last_output() == Some((true, Some(true)))).await;
    assert!(*shown.borrow());
    gateway.wanted.send_replace(Arc::default());
    until("a refusal again", || notes.last_output() == Some((false, Some(false)))).await;

    machine.disobey(true);
    gateway.wanted.send_replace(permitting());
    until("disobedience", || notes.has(Trouble::Disobeyed, "p/lock was told to permit")).await;
    assert_eq!(notes.last_output(), Some((true, Some(false))));
    machine.disobey(false);
    until("obedience", || notes.last_output() == Some((true, Some(true)))).await;
    gateway.stop().await;
    until("a refusal at the end", || !*shown.borrow()).await;

    // The session is kept, and with it nothing of the outputs: they refuse again.
    gateway = Gateway::up(address, locked()).await;
    let notes = gateway.notes.clone();
    until("a refusal at the start", || notes.last_output() == Some((false, Some(false)))).await;
    gateway.stop().await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn follow_what_is_wanted() {
    follows(Embedded::start().await.address).await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn follow_what_is_wanted_with_mosquitto() {
    let test = "follow_what_is_wanted_with_mosquitto";
    let Some(broker) = Mosquitto::start(test, false) else { return };
    follows(broker.address).await;
}

/// What a machine sees on the wire, retained unless the settings say otherwise.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn are_published_as_configured() {
    let broker = Embedded::start().await;
    let output = json!({
        "name": "lock", "drive": "print-permit", "topic": "p/lock", "permit": "open",
        "refuse": "shut",
    });
    let beat = json!({
        "name": "beat", "drive": "heartbeat", "topic": "p/beat", "retain": false,
    });
    let mut client = Client::connect(broker.address, "printer").await;
    client.subscribe("p/#").await;
    let made_of = settings(&json!([]), &json!([output, beat]));
    let gateway = Gateway::up(broker.address, made_of).await;
    assert_eq!(client.hear().await.payload, "shut");
    for beat in [7, 8] {
        let mut wanted = Wanted::clone(&permitting());
        wanted.beat = beat;
        gateway.wanted.send_replace(Arc::new(wanted));
        if beat == 7 {
            assert_eq!(client.hear().await.payload, "open");
        }
        let heard = client.hear().await;
        assert_eq!(
            (heard.topic.as_str(), &heard.payload[..]),
            ("p/beat", beat.to_string().as_bytes())
        );
    }
    gateway.stop().await;
    assert_eq!(client.hear().await.payload, "shut");
    let mut late = Client::connect(broker.address, "late").await;
    late.subscribe("p/#").await;
    let kept = late.hear().await;
    assert_eq!(
        (kept.topic.as_str(), &kept.payload[..], kept.retain),
        ("p/lock", &b"shut"[..], true)
    );
}
