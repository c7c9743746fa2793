//! Each fault of the way to a machine, told at the key that is wrong.

use serde_json::{Value, json};

use super::*;

fn settings(mut keys: Value) -> Settings {
    keys["points"] =
        json!([{ "signal": "stroke-total", "table": "input", "at": 0, "type": "u16" }]);
    serde_json::from_value(keys).unwrap()
}

fn told(keys: Value) -> Vec<String> {
    settings(keys).check().into_iter().map(|(path, _)| path).collect()
}

fn tls() -> Value {
    json!({ "ca": "ca.pem", "certificate": "own.pem", "key": "own.key" })
}

fn none() -> Vec<String> {
    Vec::new()
}

#[test]
fn a_machine_is_reached_in_one_way() {
    let serial = json!({ "port": "/dev/ttyUSB0" });
    assert_eq!(told(json!({})), ["address"]);
    assert_eq!(told(json!({ "address": "h:1", "serial": serial })), ["serial"]);
    assert_eq!(told(json!({ "serial": serial })), none());
    assert_eq!(told(json!({ "address": "h:1", "framing": "rtu" })), none());
    assert_eq!(told(json!({ "address": "h", "tls": tls() })), none());
    assert_eq!(told(json!({ "address": "h" })), ["address"]);
    assert_eq!(told(json!({ "address": "h:", "tls": tls() })), ["address"]);
    assert_eq!(told(json!({ "serial": serial, "tls": tls() })), ["tls"]);
    assert_eq!(told(json!({ "address": "h:1", "framing": "rtu", "tls": tls() })), ["tls"]);
}

#[test]
fn serial_lines_have_their_own_limits() {
    let line = |port: &str, baud: u32| json!({ "serial": { "port": port, "baud": baud } });
    assert_eq!(told(line("", 19_200)), ["serial.port"]);
    for (baud, wrong) in [(1_199, true), (1_200, false), (115_200, false), (115_201, true)] {
        assert_eq!(!told(line("/dev/a", baud)).is_empty(), wrong, "{baud}");
    }
    for (unit, wrong) in [(0, true), (1, false), (247, false), (248, true)] {
        let keys = json!({ "address": "h:1", "framing": "rtu", "unit": unit });
        assert_eq!(!told(keys).is_empty(), wrong, "{unit}");
        assert_eq!(told(json!({ "address": "h:1", "unit": unit })), none(), "{unit}");
    }
    assert_eq!(told(json!({ "address": "h:1", "quiet": "5ms" })), ["quiet"]);
    assert_eq!(told(json!({ "address": "h:1", "quiet": "5ms", "framing": "rtu" })), none());
}

fn shared(all: &[Value]) -> Vec<(usize, String, String)> {
    let all: Vec<Settings> = all.iter().cloned().map(settings).collect();
    let names = ["a", "b", "c"];
    let named: Vec<(&str, &Settings)> = names.into_iter().zip(&all).collect();
    check_shared(&named)
}

#[test]
fn machines_of_one_line_must_speak_alike() {
    let line = |baud: u32, frame: &str| json!({ "serial": { "port": "/dev/a", "baud": baud, "frame": frame }, "timeout": "100ms" });
    let found = shared(&[line(9_600, "8E1"), line(19_200, "8N1"), line(9_600, "8E1")]);
    let keys: Vec<(usize, &str)> = found.iter().map(|(at, key, _)| (*at, key.as_str())).collect();
    assert_eq!(keys, [(1, "serial.baud"), (1, "serial.frame")]);
    assert!(found[0].2.contains("19200, but a on the same line has 9600"), "{found:?}");
    assert!(found[1].2.contains("8N1, but a on the same line has 8E1"), "{found:?}");
    let network = |framing: &str, quiet: &str| json!({ "address": "h:1", "framing": framing, "quiet": quiet, "timeout": "100ms" });
    let found = shared(&[network("rtu", "5ms"), network("tcp", "9ms")]);
    let keys: Vec<&str> = found.iter().map(|(_, key, _)| key.as_str()).collect();
    assert_eq!(keys, ["framing", "quiet"]);
    let found = shared(&[json!({ "address": "h:1" }), json!({ "address": "h:1", "tls": tls() })]);
    assert_eq!(found[0].1, "tls");
}

#[test]
fn a_dead_machine_must_not_make_another_one_late() {
    let machine = |unit: u8, poll: &str, timeout: Value| json!({ "address": "h:1", "framing": "rtu", "unit": unit, "poll": poll, "timeout": timeout });
    let found = shared(&[machine(1, "500ms", json!("1s")), machine(2, "2s", json!("401ms"))]);
    assert_eq!(found.len(), 1, "{found:?}");
    assert_eq!((found[0].0, found[0].1.as_str()), (1, "timeout"));
    assert!(found[0].2.contains("400ms or less"), "{found:?}");
    // Parts of one unit fall silent together.
    assert_eq!(shared(&[machine(1, "100ms", json!("1s")), machine(1, "2s", json!("1s"))]), []);
    let all: Vec<Settings> = [(1, "300ms"), (2, "30s"), (3, "10s")]
        .map(|(unit, poll)| settings(machine(unit, poll, json!(null))))
        .into();
    let all: Vec<&Settings> = all.iter().collect();
    let expected = [1_000, 150, 150].map(Duration::from_millis);
    assert_eq!(time_outs(&all), expected);
    assert_eq!(time_outs(&all[..1]), [Duration::from_secs(1)]);
}

#[test]
fn a_line_that_cannot_carry_its_polls_is_found() {
    let machine = |baud: u32, poll: &str| {
        let mut keys = json!({ "serial": { "port": "/dev/a", "baud": baud }, "poll": poll });
        keys["timeout"] = json!("10ms");
        keys
    };
    // A request for one register and its answer: 15 characters and two silences of 3.5, 22 times
    // 11 bits at 1200 baud: 202 ms.
    assert_eq!(shared(&[machine(1_200, "203ms")]), []);
    let found = shared(&[machine(1_200, "201ms")]);
    assert_eq!(found[0].1, "poll");
    assert_eq!(shared(&[machine(1_200, "410ms"), machine(1_200, "410ms")]), []);
    let found = shared(&[machine(1_200, "390ms"), machine(1_200, "390ms")]);
    assert_eq!((found[0].0, found[0].1.as_str()), (1, "poll"));
    assert_eq!(shared(&[machine(19_200, "20ms")]), []);
}
