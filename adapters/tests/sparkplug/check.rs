//! Faults of the settings, each told with its key.

use serde_json::{Value, json};
use stencilward_adapters::sparkplug::{AtBroker, Settings};

fn faults(change: &Value) -> Vec<String> {
    let mut settings = json!({ "broker": "b", "group": "G", "edge-node": "N" });
    for (key, value) in change.as_object().unwrap() {
        settings[key] = value.clone();
    }
    let settings: Settings = serde_json::from_value(settings).unwrap();
    settings.check().into_iter().map(|(key, _)| key).collect()
}

#[test]
fn each_fault_is_told_with_its_key() {
    for (change, keys) in [
        (json!({}), vec![]),
        (
            json!({ "group": "a/b", "edge-node": "", "device": "#" }),
            vec!["group", "edge-node", "device"],
        ),
        (
            json!({ "metrics": [
                { "signal": "slot", "name": "a", "slot": "A1" },
                { "signal": "slot-code", "name": "b", "slot": "A1" },
                { "signal": "stroke-total", "name": "", "width": 32 },
                { "signal": "stroke-total", "name": "c", "width": 32 },
                { "signal": "machine-state", "name": "d", "values": {} },
                { "signal": "wash-state", "name": "e", "values": { "1": "running" } },
                { "signal": "measured", "name": "f", "quantity": "tension", "unit": "kg", "scale": 0.0 },
                { "signal": "store-asked", "name": "g" },
            ]}),
            vec![
                "metrics[1].slot",
                "metrics[2].name",
                "metrics[3].counter",
                "metrics[4].values",
                "metrics[5].values",
                "metrics[6].unit",
                "metrics[6].scale",
                "metrics[7].signal",
            ],
        ),
        (
            json!({ "outputs": [
                { "name": "lock", "drive": "print-permit", "metric": "P" },
                { "name": "lock", "drive": "print-permit", "metric": "P" },
                { "name": "alive", "drive": "heartbeat", "metric": "", "read-back": "x" },
            ]}),
            vec![
                "outputs[1].name",
                "outputs[1].metric",
                "outputs[2].metric",
                "outputs[2].read-back",
            ],
        ),
    ] {
        assert_eq!(faults(&change), keys, "{change}");
    }
}

#[test]
fn who_we_are_is_looked_at_too() {
    let at = json!({
        "broker": "b", "host-id": "a/b", "reorder-timeout": "2h",
        "publish-as": { "group": "G", "edge-node": "+", "primary-host": "" },
    });
    let at: AtBroker = serde_json::from_value(at).unwrap();
    let keys: Vec<String> = at.check().into_iter().map(|(key, _)| key).collect();
    assert_eq!(
        keys,
        ["host-id", "reorder-timeout", "publish-as.edge-node", "publish-as.primary-host"]
    );
    assert_eq!(AtBroker::usual("b").check(), Vec::new());
}
