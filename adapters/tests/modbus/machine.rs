//! The simulated machine and the link together, and the machine's own manners.

use serde_json::{Value, json};
use stencilward_adapters::modbus::Machine;
use stencilward_adapters::simulated::{CannotSay, Simulated};
use stencilward_domain::names::{CounterName, SlotName};
use stencilward_domain::signal::{MachineState, Reading, Said, WashOutcome, Width};

use crate::support::{Connection, Gateway, code, machine, output, within};

fn printer() -> Value {
    json!([
        { "signal": "stroke-total", "table": "input", "at": 0, "type": "u32",
          "words": "low-first", "width": 16 },
        { "signal": "stencil-seated", "table": "holding", "at": 10, "type": "text", "registers": 8 },
        { "signal": "machine-state", "table": "input", "at": 2, "type": "u16",
          "values": { "0": "idle", "1": "running" } },
        { "signal": "fault", "table": "discrete", "at": 5, "code": "door-open", "text": "open" },
    ])
}

fn read(raw: u64) -> Said {
    Said::CounterRead {
        counter: CounterName::new("strokes").unwrap(),
        raw,
        width: Width::Bits16,
        reading: Reading::Polled,
    }
}

async fn say(machine: &Machine, said: Said) {
    machine.say(&said, None).await.unwrap();
}

#[tokio::test]
async fn a_printer_is_heard_as_it_speaks() {
    let (machine, settings) = machine(&printer(), &json!([])).await;
    let mut gateway = Gateway::start(settings);
    let idle = Said::State { state: MachineState::Idle, word: "0".to_owned() };
    let closed = Said::FaultEnded { code: "door-open".to_owned() };
    let up = Said::LinkUp { resumed: false };
    assert_eq!(gateway.next().await, [up, Said::Removed, read(0), idle, closed]);

    let seated = Said::Seated { code: code("ST-101") };
    say(&machine, seated.clone()).await;
    say(&machine, read(65_530)).await;
    gateway.hear("the count", |said| *said == read(65_530)).await;
    // The counter wraps where the settings say.
    say(&machine, read(65_539)).await;
    let round = gateway.hear("the count after the wrap", |said| *said == read(3)).await;
    assert_eq!(round, [seated, read(3)]);

    let running = Said::State { state: MachineState::Running, word: "1".to_owned() };
    let open = Said::FaultRaised { code: "door-open".to_owned(), text: "open".to_owned() };
    for said in [running, open, Said::Removed] {
        say(&machine, said.clone()).await;
        gateway.hear("what was said", |heard| *heard == said).await;
    }
    gateway.stop().await;
}

#[tokio::test]
async fn an_io_module_is_heard_as_it_counts() {
    let points = json!([
        { "signal": "stroke-contact", "table": "discrete", "at": 0, "counts-when": "off" },
        { "signal": "wipe-total", "table": "input", "at": 1, "type": "u16" },
    ]);
    let (machine, settings) = machine(&points, &json!([])).await;
    let mut gateway = Gateway::start(settings);
    let wipes = |raw| Said::CounterRead {
        counter: CounterName::new("wipes").unwrap(),
        raw,
        width: Width::Bits16,
        reading: Reading::Polled,
    };
    let first = gateway.hear_up().await;
    assert_eq!(first, [Said::LinkUp { resumed: false }, wipes(0)]);
    let stroke = Said::StrokesDone { count: 1 };
    tokio::join!(say(&machine, Said::StrokesDone { count: 3 }), async {
        for _ in 0..3 {
            let round = gateway.hear("a stroke", |said| *said == stroke).await;
            assert_eq!(round, [wipes(0), stroke.clone()]);
        }
    });
    say(&machine, wipes(2)).await;
    gateway.hear("the wipes", |said| *said == wipes(2)).await;
    gateway.stop().await;
}

#[tokio::test]
async fn a_washer_and_a_rack_are_heard_as_they_speak() {
    let points = json!([
        { "signal": "wash-running", "table": "discrete", "at": 3 },
        { "signal": "wash-result", "table": "input", "at": 4, "type": "u16",
          "values": { "1": "passed", "2": "failed" } },
        { "signal": "wash-stencil", "table": "input", "at": 5, "type": "text", "registers": 4 },
        { "signal": "slot", "table": "coil", "at": 100, "slot": "A1" },
        { "signal": "slot-code", "slot": "A1", "table": "holding", "at": 40, "type": "u16",
          "values": { "17": "ST-0017" } },
    ]);
    let (machine, settings) = machine(&points, &json!([])).await;
    let mut gateway = Gateway::start(settings);
    gateway.hear_up().await;
    let slot = || SlotName::new("A1").unwrap();
    let all = [
        Said::WashBegan { code: Some(code("ST-1")), programme: None },
        Said::WashEnded {
            code: Some(code("ST-1")),
            programme: None,
            outcome: WashOutcome::Failed,
            measured: Vec::new(),
        },
        Said::SlotOccupied { slot: slot(), code: Some(code("ST-0017")) },
        Said::SlotEmptied { slot: slot(), code: Some(code("ST-0017")) },
    ];
    for said in all {
        say(&machine, said.clone()).await;
        assert_eq!(gateway.next().await, [said]);
    }
    gateway.stop().await;
}

#[tokio::test]
async fn a_wash_that_ends_while_the_link_is_lost_is_told() {
    let points = json!([
        { "signal": "wash-running", "table": "discrete", "at": 3 },
        { "signal": "wash-result", "table": "input", "at": 4, "type": "u16", "values": { "1": "passed" } },
    ]);
    let (machine, settings) = machine(&points, &json!([])).await;
    say(&machine, Said::WashBegan { code: None, programme: None }).await;
    let mut gateway = Gateway::start(settings);
    gateway.hear_up().await;
    machine.close().await;
    gateway.hear_lost().await;
    let ended = Said::WashEnded {
        code: None,
        programme: None,
        outcome: WashOutcome::Passed,
        measured: Vec::new(),
    };
    say(&machine, ended.clone()).await;
    machine.open().await.unwrap();
    assert_eq!(gateway.hear_up().await[1..], [ended]);
    gateway.stop().await;
}

#[tokio::test]
async fn a_machine_cannot_say_what_it_is_not_wired_for() {
    let (machine, _) = machine(&printer(), &json!([])).await;
    let said = Said::StrokesDone { count: 1 };
    let cannot = machine.say(&said, None).await;
    assert_eq!(cannot, Err(CannotSay::NotMapped("strokes-done")));
    assert!(machine.output(&output("lock")).is_err());
    assert_eq!(machine.answered().await, None);
}

#[tokio::test]
async fn several_clients_are_served_and_only_for_this_unit() {
    let (machine, settings) = machine(&printer(), &json!([])).await;
    let mut gateways = vec![Gateway::start(settings.clone()), Gateway::start(settings)];
    let mut connection = Connection::open(machine.local_addr()).await;
    for gateway in &mut gateways {
        gateway.hear_up().await;
    }
    // Function, unit and address are judged as the specification has it.
    assert_eq!(connection.ask(&[4, 0, 2, 0, 1]).await, [4, 2, 0, 0]);
    assert_eq!(connection.ask(&[4, 0, 2, 0, 2]).await, [0x84, 2]);
    assert_eq!(connection.ask(&[6, 0, 10, 0, 1]).await, [0x86, 2], "no output");
    assert_eq!(connection.ask(&[0x2B, 0x0E, 1, 0]).await, [0xAB, 1]);
    connection.send(1, 9, &[4, 0, 2, 0, 1]).await;
    assert_eq!(connection.frame().await, Some((1, 9, vec![0x84, 0x0B])));
    machine.drop_connections();
    assert_eq!(connection.frame().await, None);
    for mut gateway in gateways {
        gateway.hear_lost().await;
        gateway.hear_up().await;
        gateway.stop().await;
    }
}

#[tokio::test]
async fn what_is_no_request_ends_the_connection() {
    let (machine, _) = machine(&printer(), &json!([])).await;
    let rubbish: [&[u8]; 3] =
        [b"GET / HTTP/1.1\r\n\r\n", &[0, 1, 0, 0, 0, 1, 1], &[0, 1, 0, 0, 1, 0, 1]];
    for bytes in rubbish {
        use tokio::io::AsyncWriteExt;
        let mut connection = Connection::open(machine.local_addr()).await;
        connection.0.write_all(bytes).await.unwrap();
        assert_eq!(within("the end", connection.frame()).await, None);
    }
}
