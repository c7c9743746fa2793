//! Each fault, told at the key that is wrong.

use serde_json::{Value, json};

use crate::modbus::Settings;

fn paths(settings: Value) -> Vec<String> {
    let settings: Settings = serde_json::from_value(settings).unwrap();
    settings.check().into_iter().map(|(path, _)| path).collect()
}

fn of_points(points: &Value) -> Vec<String> {
    paths(json!({ "address": "127.0.0.1:502", "points": points }))
}

fn of_outputs(outputs: &Value) -> Vec<String> {
    paths(json!({ "address": "127.0.0.1:502", "outputs": outputs }))
}

#[test]
fn addresses() {
    let coil = json!([{ "signal": "fault", "table": "coil", "at": 0, "code": "x", "text": "x" }]);
    let told = |address: &str| paths(json!({ "address": address, "points": coil }));
    for good in ["127.0.0.1:502", "printer-1:5020", "[::1]:502", "a.example:65535"] {
        assert_eq!(told(good), Vec::<String>::new(), "{good}");
    }
    let bad =
        ["127.0.0.1", ":502", "h:0", "h:65536", "h:port", "::1:502", "tcp://h:502", "h :1", ""];
    for bad in bad {
        assert_eq!(told(bad), ["address"], "{bad}");
    }
}

#[test]
fn spans_and_nothing_to_do() {
    let settings = json!({ "address": "h:1", "poll": "9ms", "timeout": "31s" });
    assert_eq!(paths(settings), ["poll", "timeout", "points"]);
}

#[test]
fn words_are_needed_exactly_where_a_number_takes_several_registers() {
    let total = |kind: &str, words: Value| {
        of_points(&json!([
            { "signal": "stroke-total", "table": "input", "at": 0, "type": kind, "words": words }
        ]))
    };
    assert_eq!(total("u32", json!(null)), ["points[0].words"]);
    assert_eq!(total("u64", json!(null)), ["points[0].words"]);
    assert_eq!(total("u16", json!("low-first")), ["points[0].words"]);
    assert_eq!(total("u32", json!("low-first")), Vec::<String>::new());
    assert_eq!(total("u16", json!(null)), Vec::<String>::new());
}

#[test]
fn types_that_do_not_fit_the_signal() {
    let told = of_points(&json!([
        { "signal": "stroke-total", "table": "input", "at": 0, "type": "i16" },
        { "signal": "stencil-seated", "table": "input", "at": 1, "type": "i16" },
        { "signal": "machine-state", "table": "input", "at": 2, "type": "f32",
          "words": "high-first", "values": { "0": "idle" } },
        { "signal": "measured", "table": "input", "at": 4, "type": "bit", "quantity": "x",
          "unit": "1" },
        { "signal": "wash-result", "table": "input", "at": 5, "type": "bit",
          "values": { "1": "passed" } },
        { "signal": "fault-code", "table": "coil", "at": 5, "type": "u16" },
        { "signal": "stroke-total", "table": "coil", "at": 6, "type": "u16", "counter": "b" },
        { "signal": "wash-running", "table": "coil", "at": 7 },
    ]));
    let types: Vec<String> = (0..7).map(|index| format!("points[{index}].type")).collect();
    assert_eq!(told, types);
}

#[test]
fn text_needs_a_length_and_numbers_have_none() {
    let told = of_points(&json!([
        { "signal": "stencil-seated", "table": "holding", "at": 10, "type": "text" },
        { "signal": "slot-code", "slot": "A1", "table": "holding", "at": 11, "type": "u16",
          "registers": 8, "bytes": "low-first" },
        { "signal": "slot-code", "slot": "A2", "table": "holding", "at": 12, "type": "text",
          "registers": 126, "values": {} },
    ]));
    let wrong =
        ["points[0].registers", "points[1].registers", "points[2].registers", "points[2].values"];
    assert_eq!(told, wrong);
}

#[test]
fn addresses_end_at_65535() {
    let told = of_points(&json!([
        { "signal": "stroke-total", "table": "input", "at": 65535, "type": "u16" },
        { "signal": "stroke-total", "table": "input", "at": 65535, "type": "u32",
          "words": "high-first", "counter": "b" },
        { "signal": "stencil-seated", "table": "input", "at": 65530, "type": "text", "registers": 7 },
    ]));
    assert_eq!(told, ["points[1].at", "points[2].at"]);
}

#[test]
fn what_may_be_there_once() {
    let told = of_points(&json!([
        { "signal": "stroke-total", "table": "input", "at": 0, "type": "u16" },
        { "signal": "stroke-total", "table": "input", "at": 1, "type": "u16", "counter": " strokes" },
        { "signal": "stencil-seated", "table": "input", "at": 2, "type": "u16" },
        { "signal": "stencil-seated", "table": "input", "at": 3, "type": "u16" },
        { "signal": "fault", "table": "coil", "at": 0, "code": "x", "text": "x" },
        { "signal": "fault", "table": "coil", "at": 1, "code": "x", "text": "x" },
        { "signal": "slot", "table": "coil", "at": 2, "slot": "A1" },
        { "signal": "slot", "table": "coil", "at": 3, "slot": "A1" },
        { "signal": "slot-code", "table": "input", "at": 4, "slot": "A1", "type": "u16" },
    ]));
    let wrong = ["points[1].counter", "points[3].signal", "points[5].code", "points[7].slot"];
    assert_eq!(told, wrong);
}

#[test]
fn a_wash_needs_its_result() {
    let running = json!({ "signal": "wash-running", "table": "discrete", "at": 3 });
    let result = json!({ "signal": "wash-result", "table": "input", "at": 4, "type": "u16",
        "values": { "1": "passed" } });
    let stencil = json!({ "signal": "wash-stencil", "table": "input", "at": 5, "type": "u16" });
    assert_eq!(of_points(&json!([running])), ["points[0]"]);
    assert_eq!(of_points(&json!([result, stencil])), ["points[0]", "points[1]"]);
    assert_eq!(of_points(&json!([running, result, stencil])), Vec::<String>::new());
}

#[test]
fn values_must_be_possible_and_codes_must_be_names() {
    let long = "x".repeat(65);
    let told = of_points(&json!([
        { "signal": "stencil-seated", "table": "input", "at": 0, "type": "u16",
          "values": { "0": "", "65536": "A", "-1": "B", "7": long } },
        { "signal": "machine-state", "table": "input", "at": 0, "type": "i16", "values": {} },
        { "signal": "measured", "table": "input", "at": 0, "type": "u16", "scale": 0,
          "quantity": " ", "unit": "1" },
        { "signal": "slot", "table": "coil", "at": 0, "slot": "" },
        { "signal": "stroke-total", "table": "input", "at": 0, "type": "u16", "width": 32,
          "counter": "a\u{7}b" },
    ]));
    let wrong = [
        "points[0].values.7",
        "points[0].values.-1",
        "points[0].values.65536",
        "points[1].values",
        "points[2].scale",
        "points[2].quantity",
        "points[3].slot",
        "points[4].counter",
        "points[4].width",
    ];
    assert_eq!(told, wrong);
}

#[test]
fn outputs_have_names_and_places_of_their_own() {
    let told = of_outputs(&json!([
        { "name": "lock", "drive": "print-permit", "table": "coil", "at": 0 },
        { "name": "lock", "drive": "door-release", "table": "coil", "at": 1 },
        { "name": "", "drive": "print-permit", "table": "coil", "at": 0 },
        { "name": "alive", "drive": "heartbeat", "table": "holding", "at": 0 },
    ]));
    assert_eq!(told, ["outputs[1].name", "outputs[2].name", "outputs[2].at"]);
}

#[test]
fn a_heartbeat_on_a_coil_and_a_permit_on_a_register_are_refused_when_read() {
    for (drive, table) in
        [("heartbeat", "coil"), ("print-permit", "holding"), ("print-permit", "input")]
    {
        let output = json!({ "name": "x", "drive": drive, "table": table, "at": 0 });
        let settings = json!({ "address": "h:1", "outputs": [output] });
        let error = serde_json::from_value::<Settings>(settings).unwrap_err();
        assert!(error.to_string().contains(table), "{error}");
    }
}

#[test]
fn counters_contacts_and_tension() {
    let told = of_points(&json!([
        { "signal": "wipe-total", "table": "input", "at": 0, "type": "i16" },
        { "signal": "wipe-total", "table": "input", "at": 1, "type": "u16" },
        { "signal": "stroke-total", "table": "input", "at": 2, "type": "u16", "counter": "wipes" },
        { "signal": "stroke-contact", "table": "discrete", "at": 0 },
        { "signal": "stroke-contact", "table": "coil", "at": 1, "counts-when": "off" },
        { "signal": "measured", "table": "input", "at": 3, "type": "u16", "quantity": "tension",
          "unit": "N/m" },
        { "signal": "measured", "table": "input", "at": 4, "type": "u16", "quantity": "tension",
          "unit": "N/cm" },
    ]));
    let expected = [
        "points[0].type",
        "points[1].counter",
        "points[2].counter",
        "points[4].signal",
        "points[5].unit",
    ];
    assert_eq!(told, expected);
}

#[test]
fn a_place_that_belongs_to_one_thing_is_not_read_as_two() {
    let slots = |second: u32| {
        of_points(&json!([
            { "signal": "slot", "slot": "A1", "table": "discrete", "at": 4 },
            { "signal": "slot", "slot": "A2", "table": "discrete", "at": second },
        ]))
    };
    assert_eq!(slots(4), ["points[1].at"]);
    assert_eq!(slots(5), Vec::<String>::new());
}

#[test]
fn what_the_gateway_writes_is_not_what_the_machine_says() {
    let told = |at: u32| {
        paths(json!({
            "address": "h:1",
            "points": [{ "signal": "stencil-present", "table": "coil", "at": at }],
            "outputs": [{ "name": "lock", "drive": "print-permit", "table": "coil", "at": 0 }],
        }))
    };
    assert_eq!(told(0), ["points[0].at"]);
    assert_eq!(told(1), Vec::<String>::new());
}

#[test]
fn a_washer_needs_a_word_for_a_wash_that_passed() {
    let told = |word: &str| {
        of_points(&json!([
            { "signal": "wash-running", "table": "discrete", "at": 0 },
            { "signal": "wash-result", "table": "input", "at": 0, "type": "u16",
              "values": { "1": word } },
        ]))
    };
    assert_eq!(told("failed"), ["points[1].values"]);
    assert_eq!(told("passed"), Vec::<String>::new());
}

#[test]
fn two_machines_that_are_one() {
    let machine = |unit: u8, at: u32| {
        let settings = json!({
            "address": "h:1", "unit": unit,
            "points": [{ "signal": "stroke-total", "table": "input", "at": at, "type": "u16" }],
            "outputs": [{ "name": "lock", "drive": "print-permit", "table": "coil", "at": at }],
        });
        serde_json::from_value::<Settings>(settings).unwrap()
    };
    let told = |second: &Settings| {
        let first = machine(7, 0);
        let all = super::check_shared(&[("a", &first), ("b", second)]);
        all.into_iter().map(|(at, key, _)| (at, key)).collect::<Vec<_>>()
    };
    let both = [(1, "points[0].at".to_owned()), (1, "outputs[0].at".to_owned())];
    assert_eq!(told(&machine(7, 0)), both);
    assert_eq!(told(&machine(8, 0)), []);
    assert_eq!(told(&machine(7, 1)), [], "parts of one unit");
}
