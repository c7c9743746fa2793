//! What the MQTT settings make of payloads, good and bad: no broker needed.

// clippy.toml allows these in tests, which to it are functions marked so and not their helpers.
#![allow(clippy::unwrap_used, clippy::panic, clippy::needless_pass_by_value)]

use serde_json::{Value, json};
use stencilward_adapters::link::Trouble;
use stencilward_adapters::mqtt::{Router, Settings};
use stencilward_domain::names::{MachineName, OrderName};
use stencilward_domain::signal::{OrderSpec, Reading, Said, WashOutcome, Width};
use stencilward_domain::time::Timestamp;

fn router(messages: Value) -> Router {
    let settings: Settings =
        serde_json::from_value(json!({"broker": "floor", "messages": messages})).unwrap();
    assert_eq!(settings.check(), [], "the settings of the test are good");
    Router::new(&[(MachineName::new("m").unwrap(), settings)])
}

fn outcome(router: &Router, payload: &[u8]) -> Result<Said, Trouble> {
    let mut readings = router.read("t", payload, false, Timestamp(0));
    assert_eq!(readings.len(), 1, "one entry applies");
    readings.remove(0).signal.map(|signal| signal.said).map_err(|(trouble, _)| trouble)
}

/// RFC 6901, section 5: the example document and what its pointers lead to.
#[test]
fn the_pointers_of_rfc_6901() {
    let document = json!({
        "foo": ["bar", "baz"], "": 0, "a/b": 1, "c%d": 2, "e^f": 3, "g|h": 4, "i\\j": 5,
        "k\"l": 6, " ": 7, "m~n": 8
    })
    .to_string();
    let pointers = [
        ("/", 0),
        ("/a~1b", 1),
        ("/c%d", 2),
        ("/e^f", 3),
        ("/g|h", 4),
        ("/i\\j", 5),
        ("/k\"l", 6),
        ("/ ", 7),
        ("/m~0n", 8),
    ];
    for (pointer, value) in pointers {
        let entry = json!([{"topic": "t", "signal": "boards-counted", "count": pointer,
                            "identity": pointer}]);
        let said = outcome(&router(entry), document.as_bytes());
        assert_eq!(said, Ok(Said::BoardsCounted { count: value }), "{pointer}");
    }
    let entry = json!([{"topic": "t", "signal": "order-finished", "order": "/foo/0"}]);
    let said = outcome(&router(entry), document.as_bytes());
    assert!(matches!(said, Ok(Said::OrderFinished { order, .. }) if order.as_str() == "bar"));
}

#[test]
fn totals_come_as_json_or_plain_numbers() {
    let plain = router(json!([{"topic": "t", "signal": "stroke-total", "width": 16}]));
    let total = |raw| {
        let counter = stencilward_domain::names::CounterName::new("strokes").unwrap();
        Said::CounterRead { counter, raw, width: Width::Bits16, reading: Reading::Reported }
    };
    for (payload, expected) in [
        (&b"42"[..], Ok(total(42))),
        (b" 42\n", Ok(total(42))),
        (b"42.0", Ok(total(42))),
        (b"42.5", Err(Trouble::Unreadable)),
        (b"-1", Err(Trouble::Unreadable)),
        (b"1e400", Err(Trouble::Unreadable)),
        (b"many", Err(Trouble::Unreadable)),
        (b"", Err(Trouble::Unreadable)),
        (b"\xff\xfe", Err(Trouble::Unreadable)),
    ] {
        assert_eq!(outcome(&plain, payload), expected, "{}", String::from_utf8_lossy(payload));
    }
    let pointed =
        router(json!([{"topic": "t", "signal": "stroke-total", "width": 16, "value": "/n"}]));
    assert_eq!(outcome(&pointed, br#"{"n": 7}"#), Ok(total(7)));
    assert_eq!(outcome(&pointed, br#"{"n": "7"}"#), Ok(total(7)));
    assert_eq!(outcome(&pointed, br#"{"m": 7}"#), Err(Trouble::Missing));
    assert_eq!(outcome(&pointed, br#"{"n": [7]}"#), Err(Trouble::Unreadable));
    assert_eq!(outcome(&pointed, b"{\"n\": 7"), Err(Trouble::Unreadable));
}

#[test]
fn a_missing_code_is_not_an_empty_seat() {
    let seat = router(json!([{"topic": "t", "signal": "stencil-seated", "stencil": "/code"}]));
    assert_eq!(outcome(&seat, br#"{"code": null}"#), Ok(Said::Removed));
    assert_eq!(outcome(&seat, br#"{"code": ""}"#), Ok(Said::Removed));
    assert_eq!(outcome(&seat, b"{}"), Err(Trouble::Missing));
    let long = json!({"code": "x".repeat(65)}).to_string();
    assert_eq!(outcome(&seat, long.as_bytes()), Err(Trouble::Senseless));
}

#[test]
fn entries_of_one_topic_are_told_apart_by_when() {
    let washer = router(json!([
        {"topic": "t", "signal": "wash-began", "when": {"/event": "began"}},
        {"topic": "t", "signal": "wash-ended", "when": {"/event": "ended"},
         "outcome": "/result", "outcomes": {"ok": "passed", "nok": "failed"}}
    ]));
    let began = Ok(Said::WashBegan { code: None, programme: None });
    assert_eq!(outcome(&washer, br#"{"event": "began"}"#), began);
    let ended = outcome(&washer, br#"{"event": "ended", "result": "nok"}"#);
    assert!(matches!(ended, Ok(Said::WashEnded { outcome: WashOutcome::Failed, .. })));
    let odd = outcome(&washer, br#"{"event": "ended", "result": "?"}"#);
    assert_eq!(odd, Err(Trouble::Senseless));
    assert!(washer.read("t", br#"{"event": "idle"}"#, false, Timestamp(0)).is_empty());
}

fn order(order: &Value) -> Result<OrderSpec, Trouble> {
    let entry = json!([{
        "topic": "t", "signal": "order-released", "order": "/order", "boards": "/boards",
        "panels-per-stroke": "/up", "strokes-per-panel": "/prints", "setup-strokes": "/knead",
        "stencils": "/stencils",
    }]);
    match outcome(&router(entry), order.to_string().as_bytes())? {
        Said::OrderReleased(spec) => Ok(spec),
        other => panic!("{other:?}"),
    }
}

#[test]
fn an_order_says_what_its_strokes_follow_from() {
    let codes = |spec: OrderSpec| -> Vec<String> {
        spec.stencils.iter().map(|code| code.as_str().to_owned()).collect()
    };
    let spec = order(&json!({
        "order": "WO-1", "boards": 100, "up": 4, "prints": "2", "knead": 0,
        "stencils": ["ST 1", 17],
    }))
    .unwrap();
    assert_eq!((spec.panels_per_stroke, spec.strokes_per_panel), (Some(4), Some(2)));
    assert_eq!((spec.quantity, spec.setup_strokes), (Some(100), Some(0)));
    assert_eq!(spec.strokes_for(100), 50);
    assert_eq!(codes(spec), ["ST 1", "17"]);
    for text in ["ST-1, ST-2", "ST-1 ST-2", "ST-1;ST-2", " ST-1 ,\tST-2,"] {
        let spec = order(&json!({ "order": "WO-1", "stencils": text })).unwrap();
        assert_eq!(codes(spec), ["ST-1", "ST-2"], "{text:?}");
    }
    let bare = order(&json!({ "order": "WO-1", "boards": null, "up": "", "stencils": null }));
    assert_eq!(bare, Ok(OrderSpec::named(OrderName::new("WO-1").unwrap())));
}

#[test]
fn an_order_that_makes_no_sense_is_not_taken() {
    let many = vec!["ST-1"; 65];
    for (key, value, trouble) in [
        ("up", json!(0), Trouble::Senseless),
        ("prints", json!(0), Trouble::Senseless),
        ("knead", json!(4_294_967_296_u64), Trouble::Senseless),
        ("knead", json!(-1), Trouble::Unreadable),
        ("boards", json!(1.5), Trouble::Unreadable),
        ("boards", json!([7]), Trouble::Unreadable),
        ("stencils", json!([["ST-1"]]), Trouble::Unreadable),
        ("stencils", json!({ "a": 1 }), Trouble::Unreadable),
        ("stencils", json!([""]), Trouble::Senseless),
        ("stencils", json!(many), Trouble::Senseless),
    ] {
        let mut whole = json!({ "order": "WO-1" });
        whole[key] = value;
        assert_eq!(order(&whole), Err(trouble), "{whole}");
    }
}

#[test]
fn an_order_that_ends_may_say_what_was_made() {
    let ended = router(json!([
        {"topic": "t", "signal": "order-finished", "order": "/order", "made": "/made"}
    ]));
    let order = OrderName::new("WO-1").unwrap();
    let finished = |made| Ok(Said::OrderFinished { order: order.clone(), made });
    assert_eq!(outcome(&ended, br#"{"order": "WO-1", "made": 96}"#), finished(Some(96)));
    assert_eq!(outcome(&ended, br#"{"order": "WO-1"}"#), finished(None));
    assert_eq!(outcome(&ended, br#"{"order": "WO-1", "made": "x"}"#), Err(Trouble::Unreadable));
}

#[test]
fn wipes_have_a_counter_of_their_own() {
    let wipes = router(json!([{"topic": "t", "signal": "wipe-total", "width": 32}]));
    let said = outcome(&wipes, b"7");
    assert!(
        matches!(&said, Ok(Said::CounterRead { counter, raw: 7, .. }) if counter.as_str() == "wipes")
    );
    let both = json!({"broker": "b", "messages": [
        {"topic": "t", "signal": "wipe-total", "width": 32, "counter": "n"},
        {"topic": "u", "signal": "stroke-total", "width": 32, "counter": "n"},
    ]});
    let both: Settings = serde_json::from_value(both).unwrap();
    let found = both.check();
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!(found[0].0, "messages[1].counter");
}

#[test]
fn what_happened_once_is_not_taken_from_the_store() {
    let strokes = router(json!([
        {"topic": "t", "signal": "strokes-done", "count": "/n", "identity": "/id"}
    ]));
    let stored = strokes.read("t", br#"{"n": 1, "id": "a"}"#, true, Timestamp(0));
    let signal = stored.into_iter().next().unwrap().signal;
    assert!(matches!(signal, Err((Trouble::Stale, _))), "{signal:?}");
}

/// Entries of every kind of signal, into JSON, into text and into the topic.
fn every_kind() -> Router {
    let kinds = json!([
        {"topic": "#", "signal": "stroke-total", "width": 32, "value": "/a/b"},
        {"topic": "+", "signal": "stencil-seated", "stencil": "/0"},
        {"topic": "t", "signal": "stroke-total", "width": 16},
        {"topic": "t", "signal": "strokes-done", "count": "/n", "identity": "/i", "sequence": "/s"},
        {"topic": "t", "signal": "wash-began", "stencil": "/code", "programme": "/p", "time": "/t"},
        {"topic": "t", "signal": "wash-ended", "outcome": "/o", "outcomes": {"a": "passed"},
         "measured": [{"at": "/m", "quantity": "r", "unit": "u", "scale": 1e308}]},
        {"topic": "{slot}", "signal": "slot-occupied", "slot": "{slot}", "stencil": "/code"},
        {"topic": "t", "signal": "store-asked", "stencil": "/code", "slot": "/slot"},
        {"topic": "t", "signal": "take-asked", "stencil": "/code", "order": "/o", "destination": "/d"},
        {"topic": "t", "signal": "machine-state", "states": {"a": "idle"}},
        {"topic": "t", "signal": "fault", "code": "/code", "active": "/n", "text": "/t"},
        {"topic": "t", "signal": "link", "up": ["a"], "lost": ["b"], "value": "/o"},
        {"topic": "t", "signal": "measured", "quantity": "q", "unit": "u", "scale": 1e308},
        {"topic": "t", "signal": "order-started", "order": "", "side": "/s", "boards": "/n",
         "stencils": "/a"},
        {"topic": "t", "signal": "order-finished", "order": "/o", "made": "/n"},
        {"topic": "t", "signal": "boards-counted", "count": "/n", "identity": "/i",
         "machine": "/machine", "when": {"/n": 1}},
    ]);
    router(kinds)
}

/// Bytes by chance, half of them near to what the entries look for. `SplitMix64` (Steele, Lea and
/// Flood 2014).
fn payload(seed: u64) -> Vec<u8> {
    const PARTS: [&str; 24] = [
        "{",
        "}",
        "[",
        "]",
        ":",
        ",",
        "\"",
        "\"a\"",
        "\"code\"",
        "\"n\"",
        "\"o\"",
        "1",
        "-1",
        "1e400",
        "null",
        "true",
        "false",
        "0.5",
        "\"t\"",
        "\\u0000",
        "18446744073709551616",
        "\"i\"",
        "\"2026-01-01T00:00:00Z\"",
        "\u{fffd}",
    ];
    let mut state = seed;
    let mut chance = || {
        state = state.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = state;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    };
    let length = chance() % 24;
    if seed.is_multiple_of(2) {
        return (0..length * 4).map(|_| chance().to_le_bytes()[0]).collect();
    }
    let near = (0..length).map(|_| {
        let at = usize::try_from(chance() % 24).unwrap_or(0);
        PARTS[at]
    });
    let keys = ["a", "n", "o", "code", "slot", "i", "s", "t", "m"];
    let object = seed.is_multiple_of(3);
    if object {
        let fields = keys.iter().zip(near).map(|(key, value)| format!("\"{key}\":{value}"));
        return format!("{{{}}}", fields.collect::<Vec<_>>().join(",")).into_bytes();
    }
    near.collect::<String>().into_bytes()
}

/// `STENCILWARD_PAYLOADS` runs so many; a million unless set.
#[test]
fn no_bytes_make_it_panic() {
    let given = std::env::var("STENCILWARD_PAYLOADS").ok();
    let count = given.and_then(|text| text.parse().ok()).unwrap_or(1_000_000_u64);
    let threads = std::thread::available_parallelism().map_or(1, |number| number.get() as u64);
    let all = every_kind();
    let share = |first| {
        let (mut understood, mut refused) = (0_u64, 0_u64);
        for seed in (first..count).step_by(usize::try_from(threads).unwrap()) {
            for reading in all.read("t", &payload(seed), seed % 5 == 0, Timestamp(0)) {
                match reading.signal {
                    Ok(_) => understood += 1,
                    Err((_, why)) => {
                        assert!(why.len() < 400, "seed {seed}: {why}");
                        refused += 1;
                    }
                }
            }
        }
        (understood, refused)
    };
    let (understood, refused) = std::thread::scope(|scope| {
        let shares: Vec<_> = (0..threads).map(|first| scope.spawn(move || share(first))).collect();
        let counted = shares.into_iter().map(|share| share.join().unwrap());
        counted.fold((0, 0), |sum, share| (sum.0 + share.0, sum.1 + share.1))
    });
    assert!(understood > count / 2 && refused > count, "{understood} {refused}");
}

#[test]
fn a_scale_gives_the_unit_of_the_settings() {
    let gauge = router(json!([
        {"topic": "t", "signal": "measured", "value": "/v", "quantity": "tension", "unit": "N/cm",
         "scale": 0.5, "offset": -1}
    ]));
    let value = |payload: &[u8]| match outcome(&gauge, payload) {
        Ok(Said::Measured { measurement, .. }) => Ok(measurement.value),
        Ok(other) => panic!("{other:?}"),
        Err(trouble) => Err(trouble),
    };
    assert_eq!(value(br#"{"v": 62}"#), Ok(30.0));
    assert_eq!(value(br#"{"v": "x"}"#), Err(Trouble::Unreadable));
    let none = json!({"broker": "b", "messages": [
        {"topic": "t", "signal": "measured", "quantity": "q", "unit": "u", "scale": 0.0},
        {"topic": "{slot}/x", "signal": "slot-emptied", "slot": "{slots}"},
    ]});
    let none: Settings = serde_json::from_value(none).unwrap();
    let paths: Vec<String> = none.check().into_iter().map(|(path, _)| path).collect();
    assert_eq!(paths, ["messages[0].scale", "messages[1].slot"]);
}
