//! A question gets its answer, and one decision, whatever breaks between the two.

use serde_json::{Value, json};
use stencilward_domain::event::{Event, Recorded};
use stencilward_tests::mosquitto::Persistence;
use stencilward_tests::wait::eventually;

use crate::works::{LIMIT, Works};

/// Asks, and waits until the answer is decided, durable, and held back on its way to the broker
/// for so long that the gateway tells so.
async fn ask_in_vain(works: &mut Works, id: &str, code: &str) {
    let before = works.late_answers().await;
    works.hold(true);
    let text = json!({ "id": id, "code": code, "slot": "A1" }).to_string();
    let question = json!({ "do": "send", "topic": "scan/one/rack", "text": text });
    works.tell(question, "sent").await;
    eventually("the answer waits", LIMIT, async || {
        let told = works.late_answers().await;
        if told > before { Ok(()) } else { Err(told) }
    })
    .await;
}

/// The answer to this question, skipping repeats of others.
async fn answer(works: &mut Works, id: &str) -> Value {
    loop {
        let body = works.floor.hear("came", LIMIT).await["body"].take();
        if body["request"] == id {
            return body;
        }
    }
}

/// How often it was decided.
fn decisions(recorded: &[Recorded], id: &str) -> usize {
    let of = |recorded: &&Recorded| {
        matches!(recorded.fact.event, Event::Decided { .. })
            && recorded.fact.identity.as_deref().is_some_and(|known| known.ends_with(id))
    };
    recorded.iter().filter(of).count()
}

/// MQTT 3.1.1 and 5.0 (OASIS), 4.4: what was not acknowledged comes again.
async fn answered_however_it_breaks(version: &str) {
    let Some(mut works) = Works::start(Persistence::OnStop, 0, version).await else { return };
    works.tell(json!({ "do": "hear", "topic": "scan/answer" }), "hears").await;

    ask_in_vain(&mut works, "killed-1", "ST-1").await;
    works.gateway.kill();
    works.hold(false);
    works.start_gateway();
    let first = answer(&mut works, "killed-1").await;
    assert_eq!(first["permitted"], true, "{first}");

    works.up().await;
    ask_in_vain(&mut works, "restarted-2", "ST-2").await;
    works.broker.stop().await;
    works.broker.again().await;
    works.hold(false);
    let second = answer(&mut works, "restarted-2").await;
    assert_eq!(second["reasons"][0]["code"], "slot-promised", "{second}");

    works.up().await;
    ask_in_vain(&mut works, "cut-3", "ST-2").await;
    works.cut();
    works.hold(false);
    let third = answer(&mut works, "cut-3").await;
    assert_eq!(third["permitted"], false, "{third}");

    let recorded = works.recorded().await;
    for id in ["killed-1", "restarted-2", "cut-3"] {
        assert_eq!(decisions(&recorded, id), 1, "{id} is decided once");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn answered_however_it_breaks_with_3_1_1() {
    answered_however_it_breaks("3.1.1").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn answered_however_it_breaks_with_5_0() {
    answered_however_it_breaks("5.0").await;
}
