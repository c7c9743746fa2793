//! A machine on trial over a real link: shown, compared, and live by one setting.

use serde_json::json;
use stencilward_domain::event::Event;

use super::works::Works;
use super::{configured, name};

#[tokio::test]
async fn a_machine_is_tried_out_and_goes_live() {
    let works = Works::with(&["printer-1", "printer-2"]).await;
    works.edit("name: printer-1\n", "name: printer-1\n    trial: true\n");
    works.reload().await;
    works.shows("printer-1", |machine| machine["trial"] == true && machine["link"] == "up").await;

    works.counts("printer-1", 100).await;
    works.seats("printer-1", "ST-1").await;
    let trial = heard(&works, 100).await;
    works.counts("printer-1", 108).await;
    heard(&works, 108).await;
    let path = "/api/v1/machines/printer-1/trial/compare";
    let body = json!({ "strokes": 8, "since": trial["mark"] });
    let compared = works.post(path, &body).await.json();
    assert_eq!(compared["compared"][0]["words"], "8 by hand, 8 by the machine: they agree");
    let seat = json!({ "stencil": "ST-1", "by": "the test" });
    let refused = works.post("/api/v1/machines/printer-1/seat", &seat).await;
    assert_eq!(refused.status, 409, "nothing is done at a machine on trial");
    assert_eq!(works.get("/api/v1/machines/printer-2/trial").await.status, 409, "it is live");

    works.edit("    trial: true\n", "");
    let answer = works.reload().await;
    assert_eq!(answer["links"]["kept"], json!(["machine printer-2"]));
    works.shows("printer-1", |machine| machine["counters"]["strokes"] == 108).await;
    works.lock("printer-1", true).await;
    works.counts("printer-1", 111).await;
    works.booked("ST-1", 3).await;

    let events = works.stop().await;
    let trials: Vec<_> = configured(&events).iter().map(|known| known.trial.clone()).collect();
    assert_eq!(trials, [[].into(), [name("printer-1")].into(), [].into()]);
    let strange = events.iter().find(|event| matches!(event, Event::StrokesUnattributed { .. }));
    assert_eq!(strange, None);
}

/// What is shown of the trial once its counter stands there.
async fn heard(works: &Works, raw: u64) -> serde_json::Value {
    let what = format!("its counter stands at {raw}");
    stencilward_tests::wait::eventually(&what, super::LIMIT, async || {
        let trial = works.get("/api/v1/machines/printer-1/trial").await.json();
        let there = trial["counters"]["strokes"]["raw"] == raw;
        if there { Ok(trial) } else { Err(trial) }
    })
    .await
}
