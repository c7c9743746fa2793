//! Clients that are not ours, of our simulated machine.

use std::path::Path;
use std::process::Command;
use std::time::Duration;

use serde_json::{Value, json};
use stencilward_adapters::modbus::{BitTable, Machine, RegisterTable};
use stencilward_adapters::simulated::Simulated;
use stencilward_domain::names::{CounterName, StencilCode};
use stencilward_domain::signal::{Measurement, Reading, Said, Width};
use stencilward_tests::missing;
use stencilward_tests::peer::Peer;

use crate::hearing::machine;

const LIMIT: Duration = Duration::from_secs(10);

/// A machine with a value of each width, some bits and every kind of output.
async fn printer() -> Machine {
    let machine = machine(json!({
        "points": [
            { "signal": "stroke-total", "table": "input", "at": 0, "type": "u32",
              "words": "high-first" },
            { "signal": "wipe-total", "table": "input", "at": 2, "type": "u32",
              "words": "low-first" },
            { "signal": "measured", "table": "holding", "at": 10, "type": "f32",
              "words": "high-first", "quantity": "temperature", "unit": "°C" },
            { "signal": "measured", "table": "holding", "at": 12, "type": "f64",
              "words": "low-first", "quantity": "tension", "unit": "N/cm" },
            { "signal": "stencil-seated", "table": "holding", "at": 20, "type": "text",
              "registers": 4 },
            { "signal": "fault", "table": "discrete", "at": 3, "code": "door", "text": "open" },
        ],
        "outputs": [
            { "name": "lock", "drive": "print-permit", "table": "coil", "at": 5 },
            { "name": "alive", "drive": "heartbeat", "table": "holding", "at": 30 },
            { "name": "more", "drive": "heartbeat", "table": "holding", "at": 31 },
        ],
    }))
    .await;
    let total = |counter: &str, raw| Said::CounterRead {
        counter: CounterName::new(counter).unwrap(),
        raw,
        width: Width::Bits32,
        reading: Reading::Polled,
    };
    let measured = |quantity: &str, value, unit: &str| Said::Measured {
        code: None,
        measurement: Measurement { quantity: quantity.to_owned(), value, unit: unit.to_owned() },
    };
    for said in [
        total("strokes", 1_234_567),
        total("wipes", 7_654_321),
        measured("temperature", 25.5, "°C"),
        measured("tension", 38.125, "N/cm"),
        Said::Seated { code: StencilCode::new("ST-17").unwrap() },
        Said::FaultRaised { code: "door".to_owned(), text: "open".to_owned() },
    ] {
        machine.say(&said, None).await.unwrap();
    }
    machine
}

#[tokio::test]
async fn pymodbus_reads_what_our_machine_says_and_writes_only_its_outputs() {
    let machine = printer().await;
    machine.identify(&[(0, "Invented Works"), (1, "P-1"), (2, "1.0")]);
    let port = machine.local_addr().port().to_string();
    let Some(mut client) = Peer::start("modbus_client.py", &["--port", &port]).await else {
        return;
    };
    let read = |table: &str, at: u16, kind: &str, words: &str| json!({ "do": "value", "table": table, "at": at, "type": kind, "words": words });
    let mut text = read("holding", 20, "STRING", "big");
    text["count"] = json!(4);
    let asked = [
        (read("input", 0, "UINT32", "big"), json!({ "value": 1_234_567 })),
        (read("input", 2, "UINT32", "little"), json!({ "value": 7_654_321 })),
        (read("holding", 10, "FLOAT32", "big"), json!({ "value": 25.5 })),
        (read("holding", 12, "FLOAT64", "little"), json!({ "value": 38.125 })),
        (text, json!({ "value": "ST-17" })),
        (json!({ "do": "bits", "table": "discrete", "at": 3 }), json!({ "values": [true] })),
        (json!({ "do": "bits", "table": "coil", "at": 5 }), json!({ "values": [false] })),
        (json!({ "do": "write-coil", "at": 5, "value": true }), json!({})),
        (json!({ "do": "bits", "table": "coil", "at": 5 }), json!({ "values": [true] })),
        (json!({ "do": "write-register", "at": 30, "value": 0x12 }), json!({})),
        (json!({ "do": "mask", "at": 30, "and": 0xF2, "or": 0x25 }), json!({})),
        (json!({ "do": "registers", "table": "holding", "at": 30 }), json!({ "values": [0x17] })),
        (json!({ "do": "write-registers", "at": 30, "values": [7, 8] }), json!({})),
        (
            json!({ "do": "write-and-read", "at": 31, "values": [9], "from": 30, "count": 2 }),
            json!({ "values": [7, 9] }),
        ),
        (
            json!({ "do": "identify", "code": 1 }),
            json!({ "objects": { "0": "Invented Works", "1": "P-1", "2": "1.0" } }),
        ),
    ];
    for (command, expected) in asked {
        let answer = client.ask(command.clone(), "answered", LIMIT).await;
        for (key, value) in expected.as_object().unwrap() {
            assert_eq!(answer[key], *value, "{command}");
        }
    }
    for (command, code) in [
        (json!({ "do": "write-register", "at": 20, "value": 1 }), 2),
        (json!({ "do": "write-coil", "at": 6, "value": true }), 2),
        (json!({ "do": "registers", "table": "input", "at": 4 }), 2),
    ] {
        let refused: Value = client.ask(command.clone(), "refused", LIMIT).await;
        assert_eq!(refused["code"], code, "{command}");
    }
}

/// What mbpoll prints when it is told this, once.
async fn mbpoll(program: &Path, port: u16, arguments: &[&str], values: &[&str]) -> String {
    let port = port.to_string();
    let mut command = Command::new(program);
    command.args(["-m", "tcp", "-0", "-1", "-p", &port]).args(arguments);
    command.arg("127.0.0.1").args(values);
    let output = tokio::task::spawn_blocking(move || command.output()).await.unwrap().unwrap();
    let said =
        [output.stdout, output.stderr].map(|bytes| String::from_utf8_lossy(&bytes).into_owned());
    said.concat()
}

/// The values it read, one a line, with its place before it.
fn values(said: &str) -> Vec<&str> {
    said.lines()
        .filter(|line| line.starts_with('['))
        .filter_map(|line| line.split_once(':'))
        .map(|(_, value)| value.trim())
        .collect()
}

#[tokio::test]
async fn mbpoll_reads_and_writes_our_machine() {
    let Some(program) = missing::program("mbpoll", "Debian package mbpoll") else {
        return;
    };
    let machine = printer().await;
    let port = machine.local_addr().port();
    let reads: [(&[&str], &[&str]); 6] = [
        (&["-t", "3:int", "-B", "-r", "0"], &["1234567"]),
        (&["-t", "3:int", "-r", "2"], &["7654321"]),
        (&["-t", "4:float", "-B", "-r", "10"], &["25.5"]),
        (&["-t", "4:hex", "-r", "20", "-c", "2"], &["0x5354", "0x2D31"]),
        (&["-t", "1", "-r", "3"], &["1"]),
        (&["-t", "0", "-r", "5"], &["0"]),
    ];
    for (arguments, expected) in reads {
        let said = mbpoll(&program, port, arguments, &[]).await;
        assert_eq!(values(&said), expected, "{arguments:?}: {said}");
    }
    for (arguments, value) in [(["-t", "0", "-r", "5"], "1"), (["-t", "4", "-r", "30"], "4711")] {
        let said = mbpoll(&program, port, &arguments, &[value]).await;
        assert!(said.contains("Written 1 references"), "{said}");
    }
    let said = mbpoll(&program, port, &["-t", "4", "-r", "30"], &["4712", "4713"]).await;
    assert!(said.contains("Written 2 references"), "{said}");
    assert_eq!(machine.bit(BitTable::Coil, 5), Some(true));
    assert_eq!(machine.register(RegisterTable::Holding, 30), Some(4_712));
    assert_eq!(machine.register(RegisterTable::Holding, 31), Some(4_713));
    let said = mbpoll(&program, port, &["-t", "4", "-r", "20"], &["1"]).await;
    assert!(said.contains("Illegal data address"), "{said}");
}
