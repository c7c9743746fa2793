//! Plans of invented machines.

use serde_json::{Value, json};

use super::*;

fn settings(settings: &Value) -> Settings {
    let settings: Settings = serde_json::from_value(settings.clone()).unwrap();
    assert_eq!(settings.check(), Vec::new());
    settings
}

fn everything(settings: &Settings) -> Plan {
    Rounds::of(&Wiring::of(settings)).due().clone()
}

fn printer() -> Settings {
    settings(&json!({
        "address": "h:502", "addresses": "numbered", "gap": 2, "poll": "500ms",
        "forbidden": [{ "table": "input", "from": 30_016, "to": 30_020 }],
        "points": [
            { "signal": "stroke-total", "table": "input", "at": 30_011, "type": "u32",
              "words": "low-first" },
            { "signal": "machine-state", "table": "input", "at": 30_015, "type": "u16",
              "bits": [0, 2], "values": { "1": "running" } },
            { "signal": "fault", "table": "input", "at": 30_021, "bit": 3, "code": "door",
              "text": "door open" },
            { "signal": "fault", "table": "coil", "at": 1, "code": "air", "text": "no air" },
            { "signal": "measured", "table": "holding", "at": 40_001, "type": "f32",
              "words": "high-first", "poll": "5s", "quantity": "temperature", "unit": "°C" },
        ],
    }))
}

#[test]
fn the_plan_is_printed_with_the_addresses_of_protocol_and_maker() {
    let lines = [
        "every 500ms:",
        "  function 01, 1 coils: 0 (printed 00001)",
        "    points[3] fault air: 0 (printed 00001)",
        "  function 04, 5 input registers: 10 to 14 (printed 30011 to 30015)",
        "    points[0] stroke-total strokes: 10 to 11 (printed 30011 to 30012)",
        "    points[1] machine-state: 14 (printed 30015)",
        "  function 04, 1 input registers: 20 (printed 30021)",
        "    points[2] fault door: 20 (printed 30021)",
        "every 5s, round 10 of 10:",
        "  function 01, 1 coils: 0 (printed 00001)",
        "    points[3] fault air: 0 (printed 00001)",
        "  function 04, 5 input registers: 10 to 14 (printed 30011 to 30015)",
        "    points[0] stroke-total strokes: 10 to 11 (printed 30011 to 30012)",
        "    points[1] machine-state: 14 (printed 30015)",
        "  function 04, 1 input registers: 20 (printed 30021)",
        "    points[2] fault door: 20 (printed 30021)",
        "  function 03, 2 holding registers: 0 to 1 (printed 40001 to 40002)",
        "    points[4] measured temperature: 0 to 1 (printed 40001 to 40002)",
    ];
    assert_eq!(printer().reading_plan(), lines);
}

#[test]
fn a_point_with_a_poll_of_its_own_is_read_first_and_then_in_every_so_many_rounds() {
    let mut rounds = Rounds::of(&Wiring::of(&printer()));
    let read = |rounds: &mut Rounds| {
        let slow = rounds.due().words.iter().any(|reach| reach.table == RegisterTable::Holding);
        rounds.done();
        slow
    };
    let slow: Vec<usize> = (0..21).filter(|_| read(&mut rounds)).collect();
    assert_eq!(slow.len(), 3);
    rounds.start_anew();
    assert!(read(&mut rounds) && !read(&mut rounds));
    // A round that failed is tried again.
    rounds.start_anew();
    assert_eq!(rounds.due().words.len(), 3);
    assert_eq!(rounds.due().words.len(), 3);
}

#[test]
fn registers_with_bits_that_announce_are_read_before_what_they_announce() {
    let washer = settings(&json!({ "address": "h:502", "points": [
        { "signal": "wash-result", "table": "input", "at": 1, "type": "u16",
          "values": { "1": "passed" } },
        { "signal": "wash-running", "table": "holding", "at": 90, "bit": 0 },
        { "signal": "wash-stencil", "table": "holding", "at": 10, "type": "text", "registers": 4 },
    ]}));
    let plan = everything(&washer);
    let order: Vec<u16> = plan.words.iter().map(|reach| reach.at).collect();
    assert_eq!(order, [90, 1, 10]);
}

#[test]
fn a_bit_costs_a_sixteenth_of_a_register() {
    let rack = |gap: u16| {
        let slot = |at: u16| json!({ "signal": "slot", "table": "coil", "at": at, "slot": at.to_string() });
        let points = json!([slot(0), slot(33)]);
        everything(&settings(&json!({ "address": "h:1", "gap": gap, "points": points })))
    };
    assert_eq!(rack(1).bits.len(), 2);
    assert_eq!(rack(2).bits, [Reach { table: BitTable::Coil, at: 0, count: 34 }]);
}

#[test]
fn bits_of_outputs_are_read_together_where_they_touch() {
    let bits = [5, 6, 4, 6, 9].map(Bit::coil);
    let reach = |at, count| Reach { table: BitTable::Coil, at, count };
    assert_eq!(Plan::of_bits(bits.into_iter()).bits, [reach(4, 3), reach(9, 1)]);
}
