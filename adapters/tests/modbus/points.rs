//! Points of every kind, heard over a real connection as the machine shows them.

use serde_json::{Value, json};
use stencilward_adapters::modbus::{Machine, RegisterTable, Settings};
use stencilward_adapters::simulated::Simulated;
use stencilward_domain::names::{CounterName, OrderName, SlotName};
use stencilward_domain::signal::{OrderSpec, Reading, Said, Width};

use crate::support::{Gateway, any_port, code};

/// A machine that counts as its maker prints, and a gateway that reads it.
async fn start(mut settings: Value) -> (Machine, Gateway) {
    settings["address"] = json!("127.0.0.1:1");
    settings["poll"] = json!("10ms");
    settings["timeout"] = json!("200ms");
    let made_of: Settings = serde_json::from_value(settings.clone()).unwrap();
    assert_eq!(made_of.check(), Vec::new());
    let machine = Machine::start(made_of, any_port()).await.unwrap();
    settings["address"] = json!(machine.local_addr().to_string());
    let gateway = Gateway::start(serde_json::from_value(settings).unwrap());
    (machine, gateway)
}

#[tokio::test]
async fn a_rack_asks_with_bits_of_a_register_in_the_makers_numbering() {
    let (machine, mut gateway) = start(json!({
        "addresses": "numbered",
        "points": [
            { "signal": "store-asked", "table": "holding", "at": 40_001, "bit": 0 },
            { "signal": "take-asked", "table": "holding", "at": 40_001, "bit": 1 },
            { "signal": "asked-stencil", "table": "holding", "at": 40_002, "type": "text",
              "registers": 4, "bytes": "low-first" },
            { "signal": "asked-slot", "table": "holding", "at": 40_010, "type": "bcd16" },
            { "signal": "slot", "table": "discrete", "at": 10_001, "slot": "1", "active": "off" },
        ],
    }))
    .await;
    let slot = || SlotName::new("1").unwrap();
    let empty = Said::SlotEmptied { slot: slot(), code: None };
    assert_eq!(gateway.hear_up().await, [Said::LinkUp { resumed: false }, empty.clone()]);
    let store = Said::StoreAsked { code: code("ST-1"), slot: Some(slot()) };
    let take = Said::TakeAsked { code: code("ST-1"), order: None, destination: None };
    let full = Said::SlotOccupied { slot: slot(), code: None };
    for said in [store, full, take, empty] {
        machine.say(&said, None).await.unwrap();
        assert_eq!(gateway.next().await, [said]);
    }
    gateway.stop().await;
}

#[tokio::test]
async fn a_printer_with_orders_and_slow_points_is_read_across_its_gaps() {
    let (machine, mut gateway) = start(json!({
        "addresses": "from-1",
        "gap": 10,
        "forbidden": [{ "table": "input", "from": 30, "to": 39 }],
        "points": [
            { "signal": "stroke-total", "table": "input", "at": 1, "type": "u64",
              "words": "low-first", "bytes": "low-first" },
            { "signal": "board-total", "table": "input", "at": 9, "type": "u16", "poll": "50ms" },
            { "signal": "order", "table": "input", "at": 15, "type": "text", "registers": 8 },
            { "signal": "order-made", "table": "input", "at": 40, "type": "u16" },
        ],
    }))
    .await;
    let read = |raw| Said::CounterRead {
        counter: CounterName::new("strokes").unwrap(),
        raw,
        width: Width::Bits64,
        reading: Reading::Polled,
    };
    gateway.hear_up().await;
    machine.say(&read(1 << 40), None).await.unwrap();
    gateway.hear("the total", |said| *said == read(1 << 40)).await;
    let order = OrderName::new("WO-17").unwrap();
    let boards = Said::BoardsCounted { count: 3 };
    let finished = Said::OrderFinished { order: order.clone(), made: Some(3) };
    for said in [Said::OrderStarted(OrderSpec::named(order)), boards, finished] {
        machine.say(&said, None).await.unwrap();
        let round = gateway.hear("what was said", |heard| *heard == said).await;
        assert_eq!(round, [read(1 << 40), said]);
    }
    gateway.stop().await;
}

#[tokio::test]
async fn contacts_are_seen_one_by_one_and_a_machine_behind_a_controller_is_missed() {
    let (machine, mut gateway) = start(json!({
        "points": [
            { "signal": "board-contact", "table": "input", "at": 0, "bit": 2 },
            { "signal": "wipe-contact", "table": "coil", "at": 7, "counts-when": "off" },
            { "signal": "machine-link", "table": "input", "at": 0, "bit": 3 },
        ],
    }))
    .await;
    gateway.hear_up().await;
    for (said, one) in [
        (Said::BoardsCounted { count: 2 }, Said::BoardsCounted { count: 1 }),
        (Said::WipesDone { count: 2 }, Said::WipesDone { count: 1 }),
    ] {
        let (told, ()) = tokio::join!(machine.say(&said, None), async {
            assert_eq!(gateway.next().await, std::slice::from_ref(&one));
            assert_eq!(gateway.next().await, std::slice::from_ref(&one));
        });
        told.unwrap();
    }
    machine.set_registers(RegisterTable::Input, 0, &[0]);
    assert!(gateway.hear_lost().await.contains("machine-link"));
    machine.set_registers(RegisterTable::Input, 0, &[1 << 3]);
    gateway.hear_up().await;
    gateway.stop().await;
}
