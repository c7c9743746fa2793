//! Simulated machines that fail on demand: what each can say, and whom a fault concerns.

use serde_json::json;
use stencilward_adapters::modbus::{Machine, Pty};
use stencilward_adapters::simulated::{Fault, Simulated, Slots};
use stencilward_domain::names::SlotName;
use stencilward_domain::signal::Said;

use crate::support::{Gateway, code, machine, settings};

fn total() -> serde_json::Value {
    json!([{ "signal": "stroke-total", "table": "input", "at": 0, "type": "u16" }])
}

#[tokio::test]
async fn one_alone_takes_its_port_with_it_and_comes_back() {
    let (machine, settings) = machine(&total(), &json!([])).await;
    let mut gateway = Gateway::start(settings);
    gateway.hear_up().await;
    machine.suffer(Fault::Off(true)).await.unwrap();
    gateway.hear_lost().await;
    machine.suffer(Fault::Off(false)).await.unwrap();
    gateway.hear_up().await;
    machine.suffer(Fault::Refusing(Some(6))).await.unwrap();
    assert!(gateway.hear_lost().await.contains("exception 06"));
    gateway.stop().await;
}

#[tokio::test]
async fn beside_others_it_alone_keeps_still() {
    let (first, settings) = machine(&total(), &json!([])).await;
    let mut other = settings.clone();
    other.unit = 2;
    let _second = first.beside(&other);
    first.suffer(Fault::Off(true)).await.unwrap();
    let mut gateway = Gateway::start(other);
    gateway.hear_up().await;
    let mut silent = Gateway::start(settings);
    assert!(silent.hear_lost().await.contains("no answer"));
    first.suffer(Fault::Off(false)).await.unwrap();
    silent.hear_up().await;
    gateway.stop().await;
    silent.stop().await;
}

#[tokio::test]
async fn a_serial_line_cannot_be_cut_and_registers_cannot_flood() {
    let nowhere = ([127, 0, 0, 1], 1).into();
    let line = Machine::on_line(&settings(nowhere, &total(), &json!([])), Pty::open().unwrap());
    for fault in [Fault::Cut, Fault::Repeating(1), Fault::Flooding(1)] {
        let why = line.suffer(fault).await.unwrap_err().to_string();
        assert!(why.len() > 20, "{why}");
    }
}

/// A question that was asked and refused can be asked again.
#[tokio::test]
async fn the_same_question_twice_is_two_questions() {
    let points = json!([
        { "signal": "slot", "table": "discrete", "at": 0, "slot": "A1" },
        { "signal": "store-asked", "table": "discrete", "at": 1 },
        { "signal": "asked-stencil", "table": "input", "at": 0, "type": "text", "registers": 4 },
    ]);
    let (machine, settings) = machine(&points, &json!([])).await;
    let wired = machine.wired();
    assert_eq!(wired.slots, Slots::Named(vec![SlotName::new("A1").unwrap()]));
    assert!(wired.asks_store && !wired.asks_take && !wired.answered);
    assert_eq!(wired.says, ["slot A1", "store-asked", "asked-stencil"]);
    let mut gateway = Gateway::start(settings);
    gateway.hear_up().await;
    let asked = Said::StoreAsked { code: code("ST-1"), slot: None };
    for _ in 0..2 {
        machine.say(&asked, None).await.unwrap();
        gateway.hear("the question", |said| *said == asked).await;
    }
    gateway.stop().await;
}
