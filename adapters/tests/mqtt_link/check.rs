//! Faults in settings, each by the path of its key.

use serde_json::{Value, json};
use stencilward_adapters::mqtt::{Broker, Settings};

fn paths(found: Vec<(String, String)>) -> Vec<String> {
    assert!(found.iter().all(|(_, wrong)| wrong.len() > 10), "{found:?}");
    found.into_iter().map(|(path, _)| path).collect()
}

fn faults_of(messages: &Value, outputs: &Value) -> Vec<String> {
    let settings = json!({ "broker": "b", "messages": messages, "outputs": outputs });
    let settings: Settings = serde_json::from_value(settings).unwrap();
    paths(settings.check())
}

#[test]
fn of_messages() {
    let total = |key: &str, value: Value| {
        let mut entry = json!({ "topic": "t", "signal": "stroke-total", "width": 32 });
        entry[key] = value;
        entry
    };
    let of = |signal: &str| json!({ "topic": "t", "signal": signal });
    let cases: &[(Value, &[&str])] = &[
        (total("value", json!("/n")), &[]),
        (total("topic", json!("")), &["topic"]),
        (total("topic", json!("a/#/b")), &["topic"]),
        (total("topic", json!("a+")), &["topic"]),
        (total("width", json!(31)), &["width"]),
        (total("width", Value::Null), &["width"]),
        (total("value", json!("n")), &["value"]),
        (total("time", json!("n")), &["time"]),
        (total("when", json!({ "n": 1 })), &["when"]),
        (total("counter", json!("")), &["counter"]),
        (total("stencil", json!("/s")), &["stencil"]),
        (json!({ "topic": "t", "signal": "strokes-done", "count": "/n" }), &["identity"]),
        (json!({ "topic": "t", "signal": "strokes-done", "count": "/n", "qos": 0 }), &[]),
        (
            json!({ "topic": "t", "signal": "store-asked", "stencil": "/s", "answer": "a/+" }),
            &["answer"],
        ),
        (of("boards-counted"), &["count", "identity"]),
        (of("wipe-total"), &["width"]),
        (of("wipes-done"), &["count", "identity"]),
        (
            json!({ "topic": "t", "signal": "measured", "quantity": "tension", "unit": "N/m" }),
            &["unit"],
        ),
        (
            json!({ "topic": "t", "signal": "wash-ended", "outcome": "/o",
                    "outcomes": { "ok": "passed" },
                    "measured": [{ "at": "/t", "quantity": "tension", "unit": "cN/cm" }] }),
            &["measured[0].unit"],
        ),
        (
            json!({ "topic": "t", "signal": "order-released", "order": "/o", "made": "/m",
                    "panels-per-stroke": "p", "setup-strokes": "/s" }),
            &["made", "panels-per-stroke"],
        ),
        (of("stencil-seated"), &["stencil"]),
        (of("stencil-removed"), &[]),
        (of("wash-began"), &[]),
        (of("wash-ended"), &["outcome", "outcomes"]),
        (of("slot-occupied"), &["slot"]),
        (of("slot-emptied"), &["slot"]),
        (of("take-asked"), &["stencil"]),
        (of("machine-state"), &["states"]),
        (of("fault"), &["code", "active"]),
        (of("link"), &["up", "lost"]),
        (of("measured"), &["quantity", "unit"]),
        (of("order-released"), &["order"]),
        (of("order-started"), &["order"]),
        (of("order-finished"), &["order"]),
    ];
    for (entry, keys) in cases {
        let expected: Vec<String> = keys.iter().map(|key| format!("messages[0].{key}")).collect();
        assert_eq!(faults_of(&json!([entry]), &json!([])), expected, "{entry}");
    }
}

#[test]
fn of_outputs() {
    let lock = |key: &str, value: Value| {
        let mut output = json!({
            "name": "lock", "drive": "print-permit", "topic": "t", "permit": "open",
            "refuse": "shut",
        });
        output[key] = value;
        output
    };
    let beat = |key: &str, value: Value| {
        let mut output = json!({ "name": "beat", "drive": "heartbeat", "topic": "t" });
        output[key] = value;
        output
    };
    let cases = [
        (lock("retain", json!(false)), None),
        (lock("name", json!("")), Some("name")),
        (lock("topic", json!("t/#")), Some("topic")),
        (lock("permit", Value::Null), Some("permit")),
        (lock("refuse", Value::Null), Some("refuse")),
        (lock("refuse", json!("open")), Some("refuse")),
        (lock("read-back", json!("+")), Some("read-back")),
        (lock("value", json!("/v")), Some("value")),
        (beat("retain", json!(true)), None),
        (beat("permit", json!("1")), Some("permit")),
        (beat("read-back", json!("r")), Some("read-back")),
    ];
    for (output, key) in cases {
        let expected: Vec<String> = key.iter().map(|key| format!("outputs[0].{key}")).collect();
        assert_eq!(faults_of(&json!([]), &json!([output])), expected, "{output}");
    }
    let twice = json!([lock("topic", json!("a")), lock("topic", json!("b"))]);
    assert_eq!(faults_of(&json!([]), &twice), ["outputs[1].name"]);
}

#[test]
fn of_brokers() {
    let cases = [
        ("address", json!("[::1]:1883"), None),
        ("address", json!("host"), Some("address")),
        ("address", json!("host:0"), Some("address")),
        ("address", json!("host:65536"), Some("address")),
        ("address", json!(":1883"), Some("address")),
        ("address", json!("mqtt://host:1883"), Some("address")),
        ("client", json!(""), Some("client")),
        ("client", json!("x".repeat(61)), Some("client")),
        ("keep-alive", json!("500ms"), Some("keep-alive")),
        ("keep-alive", json!("20h"), Some("keep-alive")),
        ("password-env", json!("X"), Some("user")),
        ("password-file", json!("x"), Some("user")),
    ];
    for (key, value, fault) in cases {
        let mut broker = json!({ "name": "b", "address": "127.0.0.1:1883", "client": "c" });
        broker[key] = value;
        let broker: Broker = serde_json::from_value(broker).unwrap();
        let expected: Vec<String> = fault.into_iter().map(str::to_owned).collect();
        assert_eq!(paths(broker.check()), expected, "{broker:?}");
    }
}
