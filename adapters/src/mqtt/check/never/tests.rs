//! One entry for each reason why it could never have an effect, and its neighbour that could.

use serde_json::{Value, json};

use super::*;

fn told(messages: &Value, outputs: &Value) -> Vec<String> {
    let settings = json!({ "broker": "floor", "messages": messages, "outputs": outputs });
    let settings: Settings = serde_json::from_value(settings).unwrap();
    let mut found = Found::new();
    check(&settings, &mut found);
    found.into_iter().map(|(path, _)| path).collect()
}

fn slot(when: &Value) -> Value {
    json!({ "topic": "rack/slots", "signal": "slot-occupied", "slot": "/slot", "when": when })
}

#[test]
fn the_same_entry_twice() {
    let one = slot(&json!({ "/event": "in" }));
    assert_eq!(told(&json!([one, one]), &json!([])), ["messages[1]"]);
    let other = slot(&json!({ "/event": "back" }));
    assert!(told(&json!([one, other]), &json!([])).is_empty());
}

#[test]
fn a_when_that_contradicts_itself() {
    let when = |when: Value| told(&json!([slot(&when)]), &json!([]));
    assert_eq!(when(json!({ "/a": 1, "/a/b": 2 })), ["messages[0].when"]);
    assert_eq!(when(json!({ "/a": { "b": 3 }, "/a/b": 2 })), ["messages[0].when"]);
    assert!(when(json!({ "/a": { "b": 2 }, "/a/b": 2 })).is_empty());
    assert!(when(json!({ "/a": 1, "/ab": 2 })).is_empty());
}

#[test]
fn a_word_that_means_up_and_lost() {
    let link =
        |lost| json!([{ "topic": "p/link", "signal": "link", "up": ["on"], "lost": [lost] }]);
    assert_eq!(told(&link("on"), &json!([])), ["messages[0].lost"]);
    assert!(told(&link("off"), &json!([])).is_empty());
}

#[test]
fn a_topic_that_the_gateway_itself_publishes_on() {
    let output = json!([{ "name": "lock", "drive": "print-permit", "topic": "p/lock", "permit": "1", "refuse": "0" }]);
    let listens = |topic: &str| json!([{ "topic": topic, "signal": "stencil-removed" }]);
    assert_eq!(told(&listens("p/#"), &output), ["messages[0].topic"]);
    assert!(told(&listens("p/seat"), &output).is_empty());
}

#[test]
fn a_washer_whose_washes_never_pass() {
    let ended = |outcomes: &Value| json!({ "topic": "w", "signal": "wash-ended", "outcome": "/o", "outcomes": outcomes });
    let failed = ended(&json!({ "nok": "failed" }));
    assert_eq!(told(&json!([failed]), &json!([])), ["messages[0].outcomes"]);
    let both = json!([failed, ended(&json!({ "ok": "passed" }))]);
    assert!(told(&both, &json!([])).is_empty());
}
