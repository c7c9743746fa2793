//! What MQTT settings make of any payload. `cargo +nightly fuzz run mqtt_payloads` in `tests/fuzz`'s
//! parent, with `--fuzz-dir fuzz`.
#![no_main]

use std::sync::LazyLock;

use libfuzzer_sys::fuzz_target;
use serde_json::json;
use stencilward_adapters::mqtt::{Router, Settings};
use stencilward_domain::names::MachineName;
use stencilward_domain::time::Timestamp;

static ROUTER: LazyLock<Router> = LazyLock::new(|| {
    let settings = json!({"broker": "b", "messages": [
        {"topic": "t", "signal": "stroke-total", "width": 16},
        {"topic": "t", "signal": "stroke-total", "width": 32, "value": "/a/b"},
        {"topic": "t", "signal": "strokes-done", "count": "/n", "identity": "/i", "sequence": "/s"},
        {"topic": "{slot}", "signal": "slot-occupied", "slot": "{slot}", "stencil": "/code"},
        {"topic": "t", "signal": "wash-ended", "outcome": "/o", "outcomes": {"a": "passed"},
         "measured": [{"at": "/m", "quantity": "r", "unit": "u"}], "time": "/t"},
        {"topic": "t", "signal": "fault", "code": "/code", "active": "/n", "text": "/t"},
        {"topic": "t", "signal": "order-started", "order": "/o", "side": "/s", "boards": "/n",
         "stencils": "/a"},
    ]});
    let settings: Settings = serde_json::from_value(settings).expect("settings");
    Router::new(&[(MachineName::new("m").expect("a name"), settings)])
});

fuzz_target!(|bytes: &[u8]| {
    let _ = ROUTER.read("t", bytes, false, Timestamp(0));
});
