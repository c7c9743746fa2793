//! Which entries a message belongs to, and that nothing makes them panic.

use proptest::prelude::*;
use serde_json::{Map, Value, json};
use stencilward_adapters::link::Trouble;
use stencilward_adapters::mqtt::{Reading, Router, Settings};
use stencilward_domain::signal::Said;
use stencilward_domain::time::Timestamp;

use crate::gateway::{name, settings};

fn read(router: &Router, topic: &str, message: &Value) -> Vec<Reading> {
    router.read(topic, message.to_string().as_bytes(), false, Timestamp(5))
}

/// Several machines and entries, with and without wildcards, hear the same message.
#[test]
fn every_entry_of_a_topic_is_asked() {
    let of = |topic: &str| {
        let entry = json!({
            "topic": topic, "signal": "boards-counted", "count": "/n", "identity": "/n",
        });
        settings(&json!([entry]), &json!([]))
    };
    let router = Router::new(&[
        (name("exact"), of("line/a/boards")),
        (name("plus"), of("line/+/boards")),
        (name("hash"), of("line/#")),
        (name("other"), of("line/b/boards")),
    ]);
    let who = |topic| {
        let readings = read(&router, topic, &json!({ "n": 1 }));
        readings.iter().map(|reading| reading.machine.to_string()).collect::<Vec<_>>()
    };
    assert_eq!(who("line/a/boards"), ["exact", "plus", "hash"]);
    assert_eq!(who("line/c/boards"), ["plus", "hash"]);
    assert_eq!(who("line"), ["hash"]);
    assert!(who("elsewhere").is_empty() && !router.knows("elsewhere"));
}

/// A scanner speaks for the printer that its message names.
#[test]
fn a_message_may_name_its_machine() {
    let seat = json!({
        "topic": "s", "signal": "stencil-seated", "stencil": "/code", "machine": "/at",
        "time": "/t",
    });
    let router = Router::new(&[(name("scanner"), settings(&json!([seat]), &json!([])))]);
    let mut message = json!({ "code": "ST-1", "at": "printer-2", "t": "1970-01-01T00:00:01Z" });
    let reading = read(&router, "s", &message).remove(0);
    let signal = reading.signal.unwrap();
    assert_eq!((reading.machine, signal.machine), (name("scanner"), name("printer-2")));
    assert_eq!((signal.received, signal.machine_time), (Timestamp(5), Some(Timestamp(1_000))));
    message["at"] = Value::Null;
    let (kind, _) = read(&router, "s", &message).remove(0).signal.unwrap_err();
    assert_eq!(kind, Trouble::Missing);
}

/// Two identities that differ stay different, however long they are.
#[test]
fn long_identities_stay_apart() {
    let done = json!({ "topic": "t", "signal": "strokes-done", "count": "/n", "identity": "/id" });
    let router = Router::new(&[(name("p"), settings(&json!([done]), &json!([])))]);
    let identity = |id: String| {
        let signal = read(&router, "t", &json!({ "n": 1, "id": id })).remove(0).signal.unwrap();
        assert_eq!(signal.said, Said::StrokesDone { count: 1 });
        signal.identity.unwrap()
    };
    let long = "x".repeat(5_000);
    let (one, two) = (identity(format!("{long}1")), identity(format!("{long}2")));
    assert_ne!(one, two);
    assert_eq!(one, identity(format!("{long}1")));
    assert!(one.len() < 200);
}

const SIGNALS: [&str; 20] = [
    "stroke-total",
    "strokes-done",
    "wipe-total",
    "wipes-done",
    "stencil-seated",
    "stencil-removed",
    "wash-began",
    "wash-ended",
    "slot-occupied",
    "slot-emptied",
    "store-asked",
    "take-asked",
    "machine-state",
    "fault",
    "link",
    "measured",
    "order-released",
    "order-started",
    "order-finished",
    "boards-counted",
];

const POINTERS: [&str; 23] = [
    "identity",
    "time",
    "machine",
    "value",
    "count",
    "stencil",
    "slot",
    "order",
    "destination",
    "programme",
    "outcome",
    "code",
    "text",
    "active",
    "product",
    "side",
    "revision",
    "boards",
    "panels-per-stroke",
    "strokes-per-panel",
    "setup-strokes",
    "stencils",
    "made",
];

fn pointer() -> impl Strategy<Value = String> {
    prop_oneof![
        4 => "(/[ab0~]{0,2}){0,3}",
        1 => "\\PC{0,8}",
    ]
}

fn message() -> impl Strategy<Value = Value> {
    let keys =
        proptest::collection::hash_map(proptest::sample::select(&POINTERS[..]), pointer(), 0..9);
    let words = (pointer(), proptest::option::of(any::<u8>()));
    (proptest::sample::select(&SIGNALS[..]), keys, words, any::<Option<(String, bool)>>()).prop_map(
        |(signal, keys, (at, width), when)| {
            let mut entry = Map::from_iter([
                ("topic".to_owned(), json!("#")),
                ("signal".to_owned(), json!(signal)),
                ("measured".to_owned(), json!([{ "at": at, "quantity": "q", "unit": "u" }])),
                ("outcomes".to_owned(), json!({ "a": "passed", "": "failed" })),
                ("states".to_owned(), json!({ "0": "idle" })),
                ("width".to_owned(), json!(width)),
            ]);
            entry.extend(keys.into_iter().map(|(key, pointer)| (key.to_owned(), json!(pointer))));
            if let Some((pointer, value)) = when {
                entry.insert("when".to_owned(), json!({ pointer: value }));
            }
            Value::Object(entry)
        },
    )
}

fn document() -> impl Strategy<Value = Value> {
    let leaf = prop_oneof![
        Just(Value::Null),
        any::<bool>().prop_map(Value::from),
        any::<i64>().prop_map(Value::from),
        any::<u64>().prop_map(Value::from),
        any::<f64>().prop_map(Value::from),
        any::<String>().prop_map(Value::from),
        Just(json!("9999-99-99T99:99:99Z")),
    ];
    leaf.prop_recursive(3, 24, 4, |inner| {
        prop_oneof![
            proptest::collection::vec(inner.clone(), 0..4).prop_map(Value::from),
            proptest::collection::hash_map("[ab0/~]{0,2}", inner, 0..4)
                .prop_map(|fields| Value::Object(fields.into_iter().collect())),
        ]
    })
}

fn random_settings() -> impl Strategy<Value = Settings> {
    proptest::collection::vec(message(), 0..4).prop_map(|messages| {
        serde_json::from_value(json!({ "broker": "b", "messages": messages })).unwrap()
    })
}

proptest! {
    /// Neither the check nor the reading of messages panics, whatever the settings, also such as
    /// the check would refuse.
    #[test]
    fn nothing_makes_them_panic(
        settings in random_settings(),
        json in document(),
        bytes in proptest::collection::vec(any::<u8>(), 0..64),
        topic in "\\PC{0,8}",
        stored in any::<bool>(),
    ) {
        let _ = settings.check();
        let router = Router::new(&[(name("p"), settings)]);
        let text = json.to_string();
        for payload in [text.as_bytes(), &bytes] {
            for reading in router.read(&topic, payload, stored, Timestamp(0)) {
                if let Err((kind, why)) = reading.signal {
                    prop_assert!(Trouble::ALL.contains(&kind) && !why.is_empty());
                }
            }
        }
    }
}
