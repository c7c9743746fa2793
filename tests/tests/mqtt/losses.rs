//! What can be lost, one by one.

use std::time::Duration;

use serde_json::json;
use stencilward_tests::mosquitto::Persistence;

use crate::works::Works;

async fn each_way(persistence: Persistence, version: &str) {
    let Some(mut works) = Works::start(persistence, 0, version).await else { return };
    let burst = |times: u64| json!({ "do": "begin", "topic": "a/strokes", "times": times });
    works.tell(burst(50), "begun").await;
    works.cut();
    works.tell(json!({ "do": "wait" }), "confirmed").await;
    works.tell(burst(50), "begun").await;
    works.gateway.kill();
    works.tell(json!({ "do": "wait" }), "confirmed").await;
    works.start_gateway();
    works.up().await;
    works.tell(burst(50), "begun").await;
    works.broker.stop().await;
    tokio::time::sleep(Duration::from_millis(200)).await;
    works.broker.again().await;
    works.tell(json!({ "do": "wait" }), "confirmed").await;
    let missed = works.add_up(true).await;
    if persistence != Persistence::Off {
        assert_eq!(missed, 0, "a broker that keeps its messages loses none");
    }
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_keeps_its_messages() {
    each_way(Persistence::OnStop, "3.1.1").await;
    each_way(Persistence::OnStop, "5.0").await;
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_broker_that_forgets() {
    each_way(Persistence::Off, "3.1.1").await;
}

/// Mosquitto 2 keeps no more than `max_queued_messages` for a client that is away, and says
/// nothing of the rest.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_queue_that_overflows_is_told_with_its_size() {
    for version in ["3.1.1", "5.0"] {
        let Some(mut works) = Works::start(Persistence::OnStop, 40, version).await else { return };
        let count = |times: u64| json!({ "do": "count", "topic": "a/strokes", "times": times });
        works.tell(count(10), "counted").await;
        works.gateway.kill();
        works.tell(count(200), "counted").await;
        works.start_gateway();
        let missed = works.add_up(true).await;
        assert!((100..200).contains(&missed), "{missed} of 200 with room for 40");
    }
}

/// A second client with the gateway's client id takes messages away: the gap is told.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_session_that_is_taken_over() {
    let Some(mut works) = Works::start(Persistence::OnStop, 0, "5.0").await else { return };
    works.gateway.kill();
    let count = |times: u64| json!({ "do": "count", "topic": "a/strokes", "times": times });
    works.tell(count(5), "counted").await;
    let steal = json!({ "do": "steal", "client": "mqtt-test-in", "seconds": 0.5 });
    let stolen = works.tell(steal, "stolen").await["heard"].as_u64().unwrap();
    assert!(stolen >= 5, "{stolen}");
    works.tell(count(5), "counted").await;
    works.start_gateway();
    // What is missing before the first number ever heard, nobody can know.
    works.up().await;
    works.tell(count(5), "counted").await;
    works.gateway.kill();
    works.tell(count(7), "counted").await;
    let steal = json!({ "do": "steal", "client": "mqtt-test-in", "seconds": 0.5 });
    works.tell(steal, "stolen").await;
    works.start_gateway();
    works.up().await;
    let published = works.tell(count(1), "counted").await["number"].as_u64().unwrap();
    // What was on its way when the gateway was killed was stolen, too.
    works.until_missed(7, published - stolen).await;
}
