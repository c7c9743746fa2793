//! Who was not answered before the gateway was killed, and sends the same again, has nothing done
//! twice.

use serde_json::{Value, json};
use stencilward_tests::http::Answer;

use crate::plant::Plant;

/// The status, and the problem's type.
fn problem(answer: &Answer) -> (u16, Value) {
    (answer.status, answer.json()["type"].clone())
}

#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn what_was_done_before_a_kill_is_not_done_again() {
    let plant = Plant::new();
    let (token, other) = (plant.program("technician"), plant.program("engineer"));
    let mut gateway = plant.run().await;
    let strokes = "/api/v1/stencils/ST-1/strokes";
    let five = json!({ "machine": "printer", "strokes": 5, "why": "a set-up" }).to_string();
    let six = five.replace('5', "6");
    let orders = "/api/v1/orders";
    let order = json!({ "order": "WO-7", "quantity": 10 }).to_string();
    let store = "/api/v1/stencils/ST-2/store";
    let key = |name: &str| format!("Idempotency-Key: \"{name}\"\r\n");
    let sent = [(strokes, "s-1", &*five), (orders, "o-1", &order), (store, "r-1", "{}")];
    let mut events = Vec::new();
    for (path, name, body) in sent {
        let answer = plant.send(&token, "POST", path, &key(name), body).await;
        assert_eq!(answer.status, 200, "{path}: {}", answer.body);
        events.push(answer.json()["event"].clone());
    }

    for again in ["by its own ledger", "by its snapshot"] {
        if again == "by its snapshot" {
            gateway.stop()
        } else {
            gateway.kill()
        };
        gateway = plant.run().await;
        for ((path, name, body), event) in sent.into_iter().zip(&events) {
            let repeated = plant.send(&token, "POST", path, &key(name), body).await;
            let done = (409, json!("/problems/done-before"));
            assert_eq!(problem(&repeated), done, "{path} {again}: {}", repeated.body);
            assert!(event.is_null() || &repeated.json()["event"] == event, "{}", repeated.body);
        }
        let used = plant.send(&token, "POST", strokes, &key("s-1"), &six).await;
        assert_eq!(problem(&used), (422, json!("/problems/key-used")), "{again}");
        let repeated = plant.send(&token, "POST", strokes, &key("s-1"), &five).await;
        assert_eq!(problem(&repeated), (409, json!("/problems/done-before")), "{again}");
    }
    let shown = plant.send(&token, "GET", "/api/v1/stencils/ST-1", "", "").await;
    assert_eq!(shown.json()["strokes"], 5);
    // Another's key of the same name is another key, and so is another key.
    assert_eq!(plant.send(&other, "POST", strokes, &key("s-1"), &six).await.status, 200);
    assert_eq!(plant.send(&token, "POST", strokes, &key("s-2"), &five).await.status, 200);
    let shown = plant.send(&token, "GET", "/api/v1/stencils/ST-1", "", "").await;
    assert_eq!(shown.json()["strokes"], 16);
}
