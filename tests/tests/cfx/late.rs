//! A printer keeps its messages while it cannot be heard, and the washer goes on.

use std::time::{Duration, SystemTime};

use serde_json::{Value, json};
use stencilward_tests::http;
use stencilward_tests::peer::Peer;
use stencilward_tests::wait::eventually;

use crate::direct::listening;
use crate::plant::{GATEWAY, LIMIT, Plant, envelopes};

const PRINTER: &str = "Invented.Printer.SN1";

/// Longer than a message may take: the plant's `late-after` is a second.
const OUTAGE: Duration = Duration::from_secs(3);

/// The message of this name and sender that speaks of the stencil, if of one, as if it were made
/// at this time and no other was like it.
fn made(name: &str, source: &str, number: u64, at: SystemTime) -> Value {
    let mut envelope = envelopes()
        .into_iter()
        .rfind(|envelope| {
            let of = |field: &str| envelope[field].as_str().unwrap_or_default().to_owned();
            let tool = &envelope["MessageBody"]["NewTool"]["UniqueIdentifier"];
            of("MessageName").ends_with(name)
                && of("Source") == source
                && (name != "ToolChanged" || *tool == json!("ST-1"))
        })
        .unwrap();
    let at = jiff::Timestamp::try_from(at).unwrap();
    envelope["TimeStamp"] = json!(at.to_string());
    envelope["UniqueID"] = json!(format!("aaaaaaaa-0000-4000-8000-{number:012}"));
    for id in ["TransactionID", "TransactionId"] {
        if envelope["MessageBody"].get(id).is_some() {
            envelope["MessageBody"][id] = json!(format!("bbbbbbbb-0000-4000-8000-{number:012}"));
        }
    }
    envelope
}

async fn send(peer: &mut Peer, envelopes: &[Value]) {
    let command = json!({ "do": "send", "target": GATEWAY, "envelopes": envelopes });
    let sent = peer.ask(command, "sent", LIMIT).await;
    let outcomes = sent["outcomes"].as_array().unwrap();
    assert!(outcomes.iter().all(|outcome| outcome == "accepted"), "{outcomes:?}");
}

/// Waits until the outage that began then has lasted long enough.
async fn outlast(begun: SystemTime) {
    eventually("the outage has lasted", LIMIT, async || {
        if begun.elapsed().unwrap() >= OUTAGE { Ok(()) } else { Err("not yet") }
    })
    .await;
}

async fn may_be_stored(plant: &Plant) {
    let path = "/api/v1/stencils/ST-1/store";
    let answer = http::post(plant.address, path, &json!({})).await.unwrap().json();
    assert_eq!(answer["permitted"], json!(true), "{answer}");
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_a_printer_kept_counts_from_when_it_happened() {
    let Some((plant, mut peer)) = listening().await else { return };
    let seated = made("ToolChanged", PRINTER, 1, SystemTime::now());
    let printed = made("UnitsProcessed", PRINTER, 2, SystemTime::now());
    let gone = made("EndpointShuttingDown", PRINTER, 3, SystemTime::now());
    send(&mut peer, &[seated, printed, gone]).await;
    plant.strokes("ST-1", 2).await;
    plant.link("printer-1", "down").await;

    // Printed before the wash, told after it.
    let begun = SystemTime::now();
    let kept = made("UnitsProcessed", PRINTER, 4, begun);
    outlast(begun).await;
    let washer = "Invented.Washer.SN2";
    let washed = made("ToolsUnloaded", washer, 5, SystemTime::now());
    send(&mut peer, &[washed]).await;
    may_be_stored(&plant).await;
    send(&mut peer, &[kept]).await;
    plant.strokes("ST-1", 4).await;
    let view = plant.view("/api/v1/stencils/ST-1").await;
    assert_eq!((&view["cleanliness"], &view["washes"]), (&json!("clean"), &json!(1)), "{view}");
    assert_eq!((&view["strokes_since_wash"], &view["doubted"]), (&json!(0), &Value::Null));

    // Printed after the wash, told after it was permitted to be stored.
    let begun = SystemTime::now();
    let kept = made("UnitsProcessed", PRINTER, 6, begun);
    outlast(begun).await;
    may_be_stored(&plant).await;
    send(&mut peer, &[kept]).await;
    plant.strokes("ST-1", 6).await;
    let view = plant.view("/api/v1/stencils/ST-1").await;
    assert_eq!((&view["cleanliness"], &view["strokes_since_wash"]), (&json!("printed"), &json!(2)));
    eventually("the decision is doubted", LIMIT, async || {
        let doubted = plant.view("/api/v1/stencils/ST-1").await["doubted"].clone();
        let code = &doubted["reasons"][0]["code"];
        if doubted["rule"] == "store" && code == "unwashed" { Ok(()) } else { Err(doubted) }
    })
    .await;
}
