//! Settings that cannot work are refused, with what to do.

use serde_json::{Value, json};
use stencilward_adapters::cfx::{Endpoint, Settings};

fn wrong_settings(more: &Value) -> Vec<(String, String)> {
    let mut settings = json!({ "endpoint": "floor", "handle": "Invented.Printer.SN1" });
    settings.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    serde_json::from_value::<Settings>(settings).unwrap().check()
}

fn wrong_endpoint(more: &Value) -> Vec<(String, String)> {
    let mut endpoint = json!({ "name": "floor", "handle": "Invented.Gateway.1" });
    endpoint.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
    serde_json::from_value::<Endpoint>(endpoint).unwrap().check()
}

/// An output that locks.
fn lock(more: Value) -> Value {
    merged(json!({ "name": "go", "drive": "print-permit", "by": "lock-station" }), more)
}

/// One that locks everything.
fn other() -> Value {
    lock(json!({ "name": "stop" }))
}

/// Settings with these outputs, and somebody to ask.
fn locks(outputs: &Value) -> Value {
    json!({ "requests": { "address": "here:1" }, "outputs": outputs })
}

/// Settings with an output that locks, and these requests.
fn with(requests: Value) -> Value {
    let requests = merged(json!({ "address": "here:1" }), requests);
    json!({ "requests": requests, "outputs": [lock(json!({}))] })
}

fn merged(mut all: Value, more: Value) -> Value {
    if let (Value::Object(all), Value::Object(more)) = (&mut all, more) {
        all.extend(more);
    }
    all
}

#[test]
fn faults_of_a_machine_name_their_key_and_the_remedy() {
    for (more, key, word) in [
        (json!({ "handle": " x" }), "handle", "between 1 and 200"),
        (json!({ "signals": ["faults", "faults"] }), "signals[1]", "listed before"),
        (
            json!({ "signals": ["strokes-done"], "strokes-from": "work-completed" }),
            "strokes-per-panel",
            "such as 2",
        ),
        (
            json!({ "signals": ["strokes-done"], "strokes-per-panel": 2 }),
            "strokes-per-panel",
            "drop",
        ),
        (json!({ "strokes-from": "tools-used" }), "strokes-from", "strokes-done"),
        (json!({ "stencil-prefix": " " }), "stencil-prefix", "ST-"),
        (
            json!({ "outputs": [{ "name": "go", "drive": "heartbeat", "by": "unit-validation" }] }),
            "outputs[0].drive",
            "print-permit",
        ),
        (json!({ "outputs": [lock(json!({}))] }), "outputs[0].by", "requests"),
        (json!({ "requests": { "address": "here:1" } }), "requests", "lock-station"),
        (locks(&json!([lock(json!({ "lane": 1 })), other()])), "outputs[1].by", "lane or stage"),
        (
            json!({ "outputs": [{
                "name": "go", "drive": "print-permit", "by": "unit-validation", "lane": 1,
            }] }),
            "outputs[0].lane",
            "drop this",
        ),
        (with(json!({ "address": "here" })), "requests.address", "192.0.2.10:5672"),
        (with(json!({ "password-env": "P" })), "requests.user", "missing"),
        (with(json!({ "within": "10min" })), "requests.within", "between"),
    ] {
        let found = wrong_settings(&more);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].0, key);
        assert!(found[0].1.contains(word), "{found:?}");
    }
    assert_eq!(wrong_settings(&json!({})), Vec::new());
}

#[test]
fn two_messages_never_count_the_same_strokes() {
    let both = json!({
        "endpoint": "floor", "handle": "H", "strokes-from": ["units-processed", "tools-used"],
    });
    assert!(serde_json::from_value::<Settings>(both).is_err(), "there is one basis only");
}

#[test]
fn faults_of_an_endpoint_name_their_key_and_the_remedy() {
    let broker = |more: Value| {
        let mut broker = json!({ "address": "127.0.0.1:5672", "sources": ["/amq/queue/q"] });
        broker.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        json!({ "broker": broker })
    };
    let listen = |more: Value| {
        let mut listen = json!({ "address": "127.0.0.1:5672" });
        listen.as_object_mut().unwrap().extend(more.as_object().unwrap().clone());
        json!({ "listen": listen })
    };
    for (more, key, word) in [
        (json!({}), "", "add a broker"),
        (broker(json!({ "address": "here" })), "broker.address", "127.0.0.1:5672"),
        (broker(json!({ "sources": [] })), "broker.sources", "durable queue"),
        (broker(json!({ "sources": ["q", "q"] })), "broker.sources[1]", "once"),
        (broker(json!({ "password-file": "p" })), "broker.user", "missing"),
        (
            broker(json!({ "publish": { "at": "/amq/queue/q" } })),
            "broker.publish.at",
            "hear itself",
        ),
        (
            broker(json!({ "publish": { "at": "/exchange/x", "heartbeat": "6min" } })),
            "broker.publish.heartbeat",
            "5min",
        ),
        (listen(json!({ "publish": { "at": " " } })), "listen.publish.at", "empty"),
        (listen(json!({ "publish": { "at": "/a", "pace": "2h" } })), "listen.publish.pace", "1h"),
        (listen(json!({ "address": "localhost:1" })), "listen.address", "127.0.0.1:5672"),
        (listen(json!({ "address": "0.0.0.0:5672" })), "listen.tls", "secured"),
        (listen(json!({ "user": "machines" })), "listen.password-file", "missing"),
        (
            listen(json!({
                "address": "0.0.0.0:5671", "tls": { "certificate": "c.pem", "key": "k.pem" },
            })),
            "listen.user",
            "anybody",
        ),
    ] {
        let found = wrong_endpoint(&more);
        assert_eq!(found.len(), 1, "{found:?}");
        assert_eq!(found[0].0, key);
        assert!(found[0].1.contains(word), "{found:?}");
    }
    let secured = json!({
        "address": "0.0.0.0:5671", "tls": { "certificate": "c.pem", "key": "k.pem", "ca": "a.pem" },
    });
    assert_eq!(wrong_endpoint(&listen(secured)), Vec::new());
}
