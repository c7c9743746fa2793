//! Whatever the text, reading ends without a panic, and agrees with a general validator.

use proptest::prelude::*;
use serde_json::{Value as Json, json};
use stencilward_config::lines::Lines;
use stencilward_config::read::{read, schema};

use super::settings::{Floor, GOOD};

fn attempt(text: &str) {
    match read::<Floor>("floor.yaml", text) {
        Ok((_, lines)) => exercise(&lines),
        Err(faults) => {
            assert!(!faults.is_empty());
            let last = text.matches(['\n', '\r']).count() + 1;
            for fault in &faults {
                assert!(fault.line.is_none_or(|line| (1..=last).contains(&line)), "{fault}");
                assert!(!fault.to_string().contains('\n'), "{fault}");
            }
        }
    }
}

fn exercise(lines: &Lines) {
    for path in ["", "[", "machines[", "machines[1", "machines[18446744073709551616].x", "a..b"] {
        assert!(lines.fault(path, "wrong").line.is_some());
    }
}

/// Pieces that YAML gives a meaning, and words of the test's settings.
const PIECES: [&str; 48] = [
    " ", "  ", "\n", "\n  ", "\t", ":", ": ", "- ", "-", "? ", "[", "]", "{", "}", ",", "#", "&a ",
    "*a", "!!str ", "!x ", "|\n", ">-\n", "'", "\"", "%", "@", "---\n", "...\n", "\\", "\u{0}",
    "\u{feff}", "é", "<<", "~", "1", "0x", "1e999", ".nan", "true", "name", "machines", "modbus",
    "points", "signal", "strokes", "policy", "\r\n", "\u{2028}",
];

proptest! {
    #![proptest_config(ProptestConfig { failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_text_is_survived(text in any::<String>()) {
        attempt(&text);
    }

    #[test]
    fn any_yaml_like_text_is_survived(
        pieces in prop::collection::vec(prop::sample::select(&PIECES[..]), 0..40)
    ) {
        attempt(&pieces.concat());
    }

    #[test]
    fn any_damage_to_a_good_file_is_survived(
        edits in prop::collection::vec(
            (any::<prop::sample::Index>(), 0_usize..12, prop::sample::select(&PIECES[..])),
            1..6,
        )
    ) {
        let mut text: Vec<char> = GOOD.chars().collect();
        for (at, gone, piece) in edits {
            let at = at.index(text.len());
            let end = (at + gone).min(text.len());
            text.splice(at..end, piece.chars());
        }
        attempt(&text.iter().collect::<String>());
    }

    #[test]
    fn a_general_validator_agrees(
        edits in prop::collection::vec((any::<prop::sample::Index>(), edit()), 1..4)
    ) {
        let mut floor = good();
        for (at, edit) in edits {
            let mut pointers = Vec::new();
            collect(&floor, "", &mut pointers);
            let pointer = pointers.get(at.index(pointers.len())).unwrap().clone();
            apply(&mut floor, &pointer, edit);
        }
        compare(&floor);
    }
}

#[derive(Debug, Clone)]
enum Edit {
    Replace(Json),
    Remove,
    Add(&'static str, Json),
}

fn edit() -> impl Strategy<Value = Edit> {
    let keys = ["name", "topic", "register", "words", "modbus", "mqtt", "file", "limit", "odd"];
    prop_oneof![
        value().prop_map(Edit::Replace),
        Just(Edit::Remove),
        (prop::sample::select(keys.to_vec()), value())
            .prop_map(|(key, value)| Edit::Add(key, value)),
    ]
}

/// Values that their types read whenever the schema allows them.
fn value() -> impl Strategy<Value = Json> {
    let values = vec![
        json!(null),
        json!(true),
        json!(0),
        json!(2),
        json!(-1),
        json!(70000),
        json!(2.5),
        json!(-0.5),
        json!(u64::MAX),
        json!(""),
        json!("text"),
        json!("5s"),
        json!("none"),
        json!("early"),
        json!("high-first"),
        json!("strokes"),
        json!("seated"),
        json!("fault"),
        json!("192.0.2.1"),
        json!([]),
        json!([2]),
        json!(["early", "early"]),
        json!(["text"]),
        json!({}),
        json!({"topic": "t"}),
        json!({"signal": "fault", "coil": 2}),
        json!({"file": {"path": "p"}}),
        json!({"file": {}, "cluster": {}}),
    ];
    prop::sample::select(values)
}

fn good() -> Json {
    json!({
        "name": "Hall 2",
        "listen": "127.0.0.1",
        "policy": {"reorder": 80, "wash-valid": "72h", "strokes": 4},
        "labels": {"line 1": "SMT"},
        "shifts": ["early", "late"],
        "tell": ["anna"],
        "store": {"file": {"path": "ledger.db"}},
        "route": {"from": "a", "over": "b", "limit": 4, "to": "c"},
        "machines": [
            {"name": "p", "modbus": {"host": "h", "unit": 17, "poll": "1s", "points": [
                {"signal": "strokes", "register": 100, "words": "high-first", "wait": null},
                {"signal": "seated", "register": 110, "length": 8},
                {"signal": "fault", "coil": 3, "limit": 2},
            ]}},
            {"name": "w", "mqtt": {"topic": "t"}},
        ],
    })
}

fn collect(json: &Json, at: &str, pointers: &mut Vec<String>) {
    pointers.push(at.to_owned());
    match json {
        Json::Array(items) => {
            for (index, item) in items.iter().enumerate() {
                collect(item, &format!("{at}/{index}"), pointers);
            }
        }
        Json::Object(entries) => {
            for (key, value) in entries {
                collect(value, &format!("{at}/{key}"), pointers);
            }
        }
        _ => {}
    }
}

fn apply(floor: &mut Json, pointer: &str, edit: Edit) {
    match edit {
        Edit::Replace(value) => *floor.pointer_mut(pointer).expect("it was collected") = value,
        Edit::Add(key, value) => {
            if let Some(Json::Object(entries)) = floor.pointer_mut(pointer) {
                entries.insert(key.to_owned(), value);
            }
        }
        Edit::Remove => {
            let Some((parent, last)) = pointer.rsplit_once('/') else {
                return;
            };
            match floor.pointer_mut(parent) {
                Some(Json::Object(entries)) => drop(entries.remove(last)),
                Some(Json::Array(items)) => drop(items.remove(last.parse().expect("an index"))),
                _ => {}
            }
        }
    }
}

/// JSON is YAML, so the same text can be read and validated.
fn compare(floor: &Json) {
    let schema: Json = serde_json::from_str(&schema::<Floor>()).expect("JSON");
    let validator = jsonschema::draft202012::options()
        .should_validate_formats(true)
        .build(&schema)
        .expect("a schema");
    let text = floor.to_string();
    let found = read::<Floor>("floor.yaml", &text).err().unwrap_or_default();
    let errors: Vec<String> = validator
        .iter_errors(floor)
        .map(|error| format!("{}: {error}", error.instance_path()))
        .collect();
    // The crate `jsonschema` is the reference; formats it does not know (`ip`, `uint64`) aside.
    let beyond = found.iter().all(|fault| matches!(fault.path.as_str(), "listen"));
    assert!(
        errors.is_empty() == found.is_empty() || (errors.is_empty() && beyond),
        "{text}\nfound: {found:?}\nexpected: {errors:?}"
    );
}
