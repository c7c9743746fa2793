//! Machines of other people's making send straight to the gateway's listener.

use serde_json::json;
use stencilward_tests::child::Signal;
use stencilward_tests::free_port::free_port;
use stencilward_tests::peer::Peer;

use crate::plant::{GATEWAY, LIMIT, Plant, STORY, WASHED, envelopes, send_all, story};

/// A gateway that listens, and a peer that knows where.
pub(crate) async fn listening() -> Option<(Plant, Peer)> {
    listening_with("").await
}

/// The same with more settings of the endpoint.
async fn listening_with(more: &str) -> Option<(Plant, Peer)> {
    let port = free_port();
    let listen = format!("    listen: {{ address: \"127.0.0.1:{port}\" }}\n{more}");
    let plant = Plant::start(&listen);
    let address = format!("amqp://127.0.0.1:{port}");
    let peer = Peer::start("cfx_endpoint.py", &["--address", &address]).await?;
    stencilward_tests::wait::eventually("the gateway listens", LIMIT, async || {
        std::net::TcpStream::connect(("127.0.0.1", port)).map(drop)
    })
    .await;
    Some((plant, peer))
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn every_message_leads_to_its_events_and_a_repeat_to_none() {
    let Some((mut plant, mut peer)) = listening().await else { return };
    let outcomes = send_all(&mut peer, GATEWAY, json!({})).await;
    assert_eq!(outcomes, vec!["accepted"; envelopes().len()]);
    plant.strokes("ST-1", 2).await;
    plant.strokes("ST-2", 3).await;
    plant.link("printer-1", "down").await;
    // As machines do whose acknowledgements were lost: compressed, in the old section, together.
    for more in [
        json!({ "gzip": true }),
        json!({ "section": "value" }),
        json!({ "together": true, "gzip": true }),
    ] {
        let outcomes = send_all(&mut peer, GATEWAY, more).await;
        assert!(outcomes.iter().all(|outcome| outcome == "accepted"), "{outcomes:?}");
    }
    let events = plant.events().await;
    let told = story(&events);
    assert_eq!(told[..STORY.len()], STORY);
    assert_eq!(told[STORY.len()..], [WASHED], "and nothing again");
    let seated = events.iter().find(|recorded| {
        recorded.fact.identity.as_deref().is_some_and(|id| id.ends_with("000000000013"))
    });
    let seated = seated.expect("an event of the message with this UniqueID");
    assert_eq!(
        seated.fact.machine_time.map(|at| at.0),
        Some(1_772_431_920_000),
        "the time of the event itself, 07:12 at UTC+1"
    );
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_killed_gateway_counts_each_print_once() {
    let Some((mut plant, mut peer)) = listening().await else { return };
    seat(&mut peer, GATEWAY).await;
    plant.link("printer-1", "up").await;
    peer.tell(json!({
        "do": "burst", "target": GATEWAY, "source": "Invented.Printer.SN1", "from": 1,
        "count": 400,
    }));
    for least in [50, 150] {
        let at_least = format!("{least} strokes");
        stencilward_tests::wait::eventually(&at_least, LIMIT, async || {
            let view = plant.view("/api/v1/stencils/ST-1").await;
            if view["strokes"].as_u64() >= Some(least) { Ok(()) } else { Err(view) }
        })
        .await;
        plant.gateway.signal(Signal::KILL);
        plant.gateway.exit(LIMIT).await;
        plant.again();
    }
    let burst = peer.hear("burst", LIMIT).await;
    assert_eq!(burst["sent"], 400);
    plant.strokes("ST-1", 400).await;
}

/// Has the printer say that ST-1 is in it.
pub(crate) async fn seat(peer: &mut Peer, target: &str) {
    let seating = envelopes().into_iter().find(|envelope| {
        let tool = &envelope["MessageBody"]["NewTool"]["UniqueIdentifier"];
        *tool == json!("ST-1")
    });
    let command = json!({ "do": "send", "target": target, "envelopes": [seating] });
    assert_eq!(peer.ask(command, "sent", LIMIT).await["outcomes"], json!(["accepted"]));
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_means_nothing_is_rejected_and_other_addresses_are_refused() {
    let Some((plant, mut peer)) = listening().await else { return };
    let raw = |target: &str, size: u64| json!({ "do": "raw", "target": target, "size": size });
    assert_eq!(peer.ask(raw(GATEWAY, 10), "sent", LIMIT).await["outcomes"], json!(["rejected"]));
    let sent = peer.ask(raw(GATEWAY, 3 << 20), "sent", LIMIT).await;
    let told = sent["outcomes"][0].as_str().unwrap();
    assert!(told.contains("message-size-exceeded"), "{told}");
    assert_eq!(peer.ask(raw(GATEWAY, 10), "sent", LIMIT).await["outcomes"], json!(["rejected"]));
    let sent = peer.ask(raw("Somebody.Else", 10), "sent", LIMIT).await;
    let told = sent["outcomes"][0].as_str().unwrap();
    assert!(told.contains("not-found"), "{told}");
    drop(plant);
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_machine_that_freezes_is_lost_and_comes_back() {
    let Some((plant, mut peer)) = listening_with("    idle-time-out: 1s\n").await else { return };
    seat(&mut peer, GATEWAY).await;
    peer.child().signal(Signal::STOP);
    // Its connection stays open: only its silence shows that it is gone.
    plant.link("printer-1", "down").await;
    peer.child().signal(Signal::CONT);
    peer.tell(json!({
        "do": "burst", "target": GATEWAY, "source": "Invented.Printer.SN1", "from": 1, "count": 3,
    }));
    peer.hear("burst", LIMIT).await;
    plant.strokes("ST-1", 3).await;
}
