//! Faults of places, layouts and points that belong together, each at its key.

use serde_json::{Value, json};

use crate::modbus::Settings;

fn faults(settings: Value) -> Vec<(String, String)> {
    let settings: Settings = serde_json::from_value(settings).unwrap();
    settings.check()
}

fn paths(settings: Value) -> Vec<String> {
    faults(settings).into_iter().map(|(path, _)| path).collect()
}

fn of_points(points: &Value) -> Vec<String> {
    paths(json!({ "address": "127.0.0.1:502", "points": points }))
}

fn total(at: u32, kind: &str) -> Value {
    json!({ "signal": "stroke-total", "table": "input", "at": at, "type": kind })
}

#[test]
fn every_address_is_counted_as_the_maker_does() {
    let told = |addresses: &str, table: &str, at: u32| {
        let point = json!({ "signal": "stroke-total", "table": table, "at": at, "type": "u16" });
        paths(json!({ "address": "h:1", "addresses": addresses, "points": [point] }))
    };
    assert_eq!(told("from-0", "holding", 0), Vec::<String>::new());
    assert_eq!(told("from-1", "holding", 0), ["points[0].at"]);
    assert_eq!(told("from-1", "holding", 65_536), Vec::<String>::new());
    assert_eq!(told("numbered", "holding", 40_001), Vec::<String>::new());
    assert_eq!(told("numbered", "input", 40_001), ["points[0].at"]);
    assert_eq!(told("from-0", "holding", 400_001), ["points[0].at"]);
    let outputs = json!([
        { "name": "a", "drive": "print-permit", "table": "coil", "at": 40_001,
          "read-back": { "table": "discrete", "at": 7 } },
        { "name": "b", "drive": "heartbeat", "table": "holding", "at": 10_001 },
    ]);
    let told = paths(json!({ "address": "h:1", "addresses": "numbered", "outputs": outputs }));
    assert_eq!(told, ["outputs[0].at", "outputs[0].read-back.at", "outputs[1].at"]);
}

#[test]
fn a_fault_of_a_place_shows_its_address_in_the_protocol_and_as_printed() {
    let point = json!({ "signal": "stroke-total", "table": "holding", "at": 465_536,
        "type": "u32", "words": "high-first" });
    let faults = faults(json!({ "address": "h:1", "addresses": "numbered", "points": [point] }));
    assert_eq!(faults[0].0, "points[0].at");
    assert!(faults[0].1.contains("holding 65535 (printed 465536)"), "{faults:?}");
}

#[test]
fn a_bit_is_named_exactly_in_a_register() {
    let told = of_points(&json!([
        { "signal": "wash-running", "table": "input", "at": 0 },
        { "signal": "wash-result", "table": "input", "at": 1, "type": "u16",
          "values": { "1": "passed" } },
        { "signal": "fault", "table": "coil", "at": 0, "bit": 3, "code": "a", "text": "a" },
        { "signal": "fault", "table": "input", "at": 2, "bit": 16, "code": "b", "text": "b" },
        { "signal": "fault", "table": "input", "at": 2, "bit": 15, "code": "c", "text": "c" },
    ]));
    assert_eq!(told, ["points[0].bit", "points[2].bit", "points[3].bit"]);
}

#[test]
fn part_of_a_number_lies_within_it_and_values_within_the_part() {
    let state = |kind: &str, bits: Value, value: &str| {
        let words = (kind == "u32").then_some("high-first");
        of_points(&json!([{ "signal": "machine-state", "table": "input", "at": 0, "type": kind,
            "words": words, "bits": bits, "values": { value: "idle" } }]))
    };
    assert_eq!(state("u16", json!([4, 7]), "15"), Vec::<String>::new());
    assert_eq!(state("u16", json!([4, 7]), "16"), ["points[0].values.16"]);
    assert_eq!(state("u16", json!([7, 4]), "1"), ["points[0].bits"]);
    assert_eq!(state("u16", json!([4, 16]), "1"), ["points[0].bits"]);
    assert_eq!(state("u32", json!([4, 16]), "1"), Vec::<String>::new());
    assert_eq!(state("bcd16", json!([4, 7]), "1"), ["points[0].bits"]);
    assert_eq!(state("i16", json!([4, 7]), "1"), ["points[0].bits"]);
    assert_eq!(state("bcd16", json!(null), "10000"), ["points[0].values.10000"]);
    let mut counter = total(0, "u16");
    counter["bits"] = json!([0, 7]);
    assert_eq!(of_points(&json!([counter])), ["points[0].bits"]);
    let mut counter = total(0, "bcd16");
    counter["width"] = json!(16);
    assert_eq!(of_points(&json!([counter])), ["points[0].width"]);
}

#[test]
fn values_that_share_some_of_their_registers_are_told() {
    let measured = |at: u32, kind: &str, bits: Value| {
        let words = (!kind.ends_with("16")).then_some("low-first");
        json!({ "signal": "measured", "table": "input", "at": at, "type": kind, "words": words,
            "bits": bits, "quantity": "x", "unit": "1" })
    };
    let two = |one: Value, other: Value| of_points(&json!([one, other]));
    let none = || json!(null);
    assert_eq!(two(measured(0, "u32", none()), measured(1, "u16", none())), ["points[1].at"]);
    assert_eq!(two(measured(1, "f64", none()), measured(0, "u32", none())), ["points[1].at"]);
    let same = two(measured(0, "u32", none()), measured(0, "i32", none()));
    assert_eq!(same, Vec::<String>::new());
    let part = two(measured(0, "u16", json!([0, 3])), measured(0, "u16", json!([4, 7])));
    assert_eq!(part, Vec::<String>::new());
}

#[test]
fn what_is_never_read_holds_no_point() {
    let told = paths(json!({
        "address": "h:1", "addresses": "from-1", "gap": 126, "most-registers": 2,
        "forbidden": [
            { "table": "input", "from": 5, "to": 8 },
            { "table": "holding", "from": 9, "to": 8 },
            { "table": "coil", "from": 0, "to": 8 },
        ],
        "points": [
            { "signal": "stroke-total", "table": "input", "at": 4, "type": "u32",
              "words": "low-first" },
            { "signal": "wipe-total", "table": "input", "at": 9, "type": "u64",
              "words": "low-first" },
            { "signal": "stencil-seated", "table": "holding", "at": 20, "type": "text",
              "registers": 3 },
        ],
    }));
    let expected = [
        "gap",
        "forbidden[1].to",
        "forbidden[2].from",
        "points[0].at",
        "points[1].type",
        "points[2].registers",
    ];
    assert_eq!(told, expected);
}

#[test]
fn a_poll_is_a_multiple_of_the_machines_own() {
    let with = |signal: &str, poll: &str| {
        let mut point = json!({ "signal": signal, "table": "input", "at": 0, "type": "u16",
            "poll": poll });
        if signal == "life-sign" {
            point["within"] = json!("10s");
        }
        paths(json!({ "address": "h:1", "poll": "400ms", "points": [point] }))
    };
    assert_eq!(with("stroke-total", "2s"), Vec::<String>::new());
    assert_eq!(with("stroke-total", "400ms"), Vec::<String>::new());
    assert_eq!(with("stroke-total", "1s"), ["points[0].poll"]);
    assert_eq!(with("stroke-total", "200ms"), ["points[0].poll"]);
    assert_eq!(with("stencil-seated", "2s"), ["points[0].poll"]);
    assert_eq!(with("life-sign", "2s"), ["points[0].poll"]);
    let many: Vec<Value> = (1..=9)
        .map(|index| {
            json!({ "signal": "fault", "table": "coil", "at": index, "code": index.to_string(),
                "text": "x", "poll": format!("{index}s") })
        })
        .collect();
    assert_eq!(of_points(&json!(many[..8])), Vec::<String>::new());
    assert_eq!(of_points(&json!(many)), ["points"]);
}

#[test]
fn points_that_make_one_signal_stand_together_and_are_read_together() {
    let number = |signal: &str, at: u32| json!({ "signal": signal, "table": "input", "at": at, "type": "u16" });
    let bit = |signal: &str, at: u32| json!({ "signal": signal, "table": "coil", "at": at });
    let alone = |point: &Value| of_points(&json!([point]));
    for needy in ["asked-stencil", "asked-slot", "asked-order", "measured-stencil"] {
        assert_eq!(alone(&number(needy, 0)), ["points[0]"], "{needy}");
    }
    for needy in ["order-product", "order-quantity", "order-made", "wash-programme"] {
        assert_eq!(alone(&number(needy, 0)), ["points[0]"], "{needy}");
    }
    for needy in ["store-asked", "take-asked", "measured-taken", "order-running"] {
        assert_eq!(alone(&bit(needy, 0)), ["points[0]"], "{needy}");
    }
    let boards = of_points(&json!([bit("board-contact", 0), number("board-total", 0)]));
    assert_eq!(boards, ["points[1]"]);
    let slow = |mut point: Value| {
        point["poll"] = json!("5s");
        point
    };
    let ask = of_points(&json!([bit("store-asked", 0), slow(number("asked-stencil", 0))]));
    assert_eq!(ask, ["points[1].poll"]);
    let ask = of_points(&json!([slow(bit("store-asked", 0)), slow(number("asked-stencil", 0))]));
    assert_eq!(ask, Vec::<String>::new());
    let mut code = slow(number("slot-code", 0));
    let mut slot = bit("slot", 0);
    (code["slot"], slot["slot"]) = (json!("A1"), json!(" A1"));
    assert_eq!(of_points(&json!([code, slot])), ["points[1].poll"]);
}
