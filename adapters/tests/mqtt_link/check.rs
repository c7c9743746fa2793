//! Faults in settings, each by the path of its key.

use serde_json::{Value, json};
use stencilward_adapters::mqtt::{Broker, Settings, Version, commanded_alike};

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
        (lock("shows", json!({ "permit": "a", "refuse": "b" })), Some("shows")),
        (beat("retain", json!(true)), None),
        (beat("permit", json!("1")), Some("permit")),
        (beat("read-back", json!("r")), Some("read-back")),
        (beat("answer", json!({ "topic": "a", "done": ["ok"] })), Some("answer")),
    ];
    for (output, key) in cases {
        let expected: Vec<String> = key.iter().map(|key| format!("outputs[0].{key}")).collect();
        assert_eq!(faults_of(&json!([]), &json!([output])), expected, "{output}");
    }
    let twice = json!([lock("topic", json!("a")), lock("topic", json!("b"))]);
    assert_eq!(faults_of(&json!([]), &twice), ["outputs[1].name"]);
}

fn command() -> Value {
    json!({
        "name": "door", "drive": "door-release", "topic": "r/do", "number": "/no",
        "permit": r#"{"door": "open"}"#, "refuse": r#"{"door": "shut"}"#,
        "answer": {
            "topic": "r/done", "number": "/no", "value": "/result", "done": ["ok"],
            "refused": ["denied"], "within": "3s",
        },
    })
}

/// A command of which these keys are others, or with null are not there.
fn changed(keys: &Value) -> Value {
    let mut output = command();
    for (pointer, value) in keys.as_object().unwrap() {
        let (parent, key) = pointer.rsplit_once('/').unwrap();
        let parent = output.pointer_mut(parent).unwrap().as_object_mut().unwrap();
        match value {
            Value::Null => drop(parent.remove(key)),
            value => drop(parent.insert(key.to_owned(), value.clone())),
        }
    }
    output
}

#[test]
fn of_commands() {
    let cases: &[(Value, &[&str])] = &[
        (json!({}), &[]),
        (json!({ "/retain": false }), &[]),
        (json!({ "/retain": true }), &["answer.retain"]),
        (json!({ "/topic": "r/+" }), &["topic"]),
        (json!({ "/permit": "open" }), &["permit"]),
        (json!({ "/permit": "[1]", "/refuse": "7" }), &["permit", "refuse"]),
        (json!({ "/number": "no" }), &["number"]),
        (json!({ "/number": null }), &["answer.number"]),
        (json!({ "/answer": null }), &["number"]),
        (json!({ "/answer/topic": "r/do" }), &["answer.topic"]),
        (json!({ "/answer/topic": "r/#" }), &["answer.topic"]),
        (json!({ "/answer/value": null }), &["answer.value"]),
        (json!({ "/answer/value": "result" }), &["answer.value"]),
        (json!({ "/answer/done": [] }), &["answer.done"]),
        (json!({ "/answer/refused": ["ok"] }), &["answer.refused"]),
        (json!({ "/answer/within": "0s" }), &["answer.within"]),
        (json!({ "/answer/within": "2min" }), &["answer.within"]),
        (json!({ "/answer/within": null }), &[]),
        (json!({ "/read-back": "r/is", "/shows": { "permit": "a", "refuse": "a" } }), &["shows"]),
    ];
    for (keys, faults) in cases {
        let expected: Vec<String> = faults.iter().map(|key| format!("outputs[0].{key}")).collect();
        assert_eq!(faults_of(&json!([]), &json!([changed(keys)])), expected, "{keys}");
    }
}

fn alike(version: Version, outputs: [&Value; 2]) -> Vec<String> {
    let machines = outputs.map(|output| {
        let settings = json!({ "broker": "b", "outputs": [output] });
        serde_json::from_value::<Settings>(settings).unwrap()
    });
    let placed: Vec<_> = ["a", "b"].map(str::to_owned).into_iter().zip(&machines).collect();
    paths(commanded_alike(version, &placed))
}

/// Two machines of a broker.
#[test]
fn of_commands_that_nobody_could_tell_apart() {
    let other = json!({ "/topic": "s/do" });
    let cases: &[(Value, Value, &[&str])] = &[
        (json!({}), other.clone(), &[]),
        (json!({}), json!({}), &["b.outputs[0].topic"]),
        (json!({}), json!({ "/permit": r#"{"lid": "up"}"#, "/refuse": r#"{"lid": "down"}"# }), &[]),
        (json!({}), json!({ "/topic": "r/done" }), &["a.outputs[0].answer.topic"]),
        (json!({ "/answer/topic": "s/do" }), other.clone(), &["a.outputs[0].answer.topic"]),
    ];
    for (one, two, expected) in cases {
        let found = alike(Version::Five, [&changed(one), &changed(two)]);
        assert_eq!(found, *expected, "{one} {two}");
    }
    let bare = json!({ "/number": null, "/answer/number": null, "/answer/value": null });
    let outputs = [&changed(&bare), &changed(&other)];
    assert_eq!(alike(Version::Five, outputs), Vec::<String>::new());
    assert_eq!(alike(Version::Three, outputs), ["a.outputs[0].answer.number"]);
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
