//! Each signal from the simulated edge node to the gateway, over a real broker.

use serde_json::json;
use stencilward_adapters::simulated::{CannotSay, Simulated as _};
use stencilward_adapters::sparkplug::Machine;
use stencilward_domain::names::{OrderName, SlotName, StencilCode};
use stencilward_domain::signal::{MachineState, Measurement, OrderSpec, Said, WashOutcome};

use crate::brokers::Embedded;
use crate::gateway::{Gateway, name, settings};

fn code() -> StencilCode {
    StencilCode::new("ST-1").unwrap()
}

fn measurement(quantity: &str, value: f64, unit: &str) -> Measurement {
    Measurement { quantity: quantity.to_owned(), value, unit: unit.to_owned() }
}

#[tokio::test]
async fn what_is_said_is_heard() {
    let broker = Embedded::start().await;
    let settings = settings(
        &json!([
            { "signal": "slot", "name": "Slots/A1", "slot": "A1" },
            { "signal": "slot-code", "name": "Slots/A2", "slot": "A2" },
            { "signal": "machine-state", "name": "State", "values": { "RUN": "running", "2": "down" } },
            { "signal": "fault", "name": "Faults/Door", "code": "F-1", "text": "door open" },
            { "signal": "measured", "name": "Resistivity", "quantity": "resistivity", "unit": "MΩ·cm", "scale": 0.5, "offset": 1.0 },
            { "signal": "wash-state", "name": "Wash/State", "values": { "0": "idle", "1": "running", "2": "passed", "3": "failed" } },
            { "signal": "wash-stencil", "name": "Wash/Stencil" },
            { "signal": "wash-programme", "name": "Wash/Programme" },
            { "signal": "order", "name": "Order" },
            { "signal": "store-asked", "name": "Ask/Store" },
            { "signal": "take-asked", "name": "Ask/Take" },
            { "signal": "asked-stencil", "name": "Ask/Stencil" },
            { "signal": "asked-slot", "name": "Ask/Slot" },
            { "signal": "asked-order", "name": "Ask/Order" },
        ]),
        &json!([]),
    );
    let mut gateway = Gateway::start(broker.address, settings.clone());
    let machine = Machine::start(broker.address, &name(), settings);
    gateway.until_up().await;
    let slot = |slot: &str| SlotName::new(slot).unwrap();
    let order = OrderName::new("WO-7").unwrap();
    let programme = Some("standard".to_owned());
    for said in [
        Said::SlotOccupied { slot: slot("A1"), code: None },
        Said::SlotEmptied { slot: slot("A1"), code: None },
        Said::SlotOccupied { slot: slot("A2"), code: Some(code()) },
        Said::SlotEmptied { slot: slot("A2"), code: None },
        Said::State { state: MachineState::Running, word: "RUN".to_owned() },
        Said::State { state: MachineState::Down, word: "2".to_owned() },
        Said::FaultRaised { code: "F-1".to_owned(), text: "door open".to_owned() },
        Said::FaultEnded { code: "F-1".to_owned() },
        Said::WashBegan { code: Some(code()), programme: programme.clone() },
        Said::WashEnded {
            code: Some(code()),
            programme,
            outcome: WashOutcome::Passed,
            measured: vec![measurement("resistivity", 3.0, "MΩ·cm")],
        },
        Said::OrderStarted(OrderSpec::named(order.clone())),
        Said::OrderFinished { order: order.clone(), made: None },
        Said::StoreAsked { code: code(), slot: Some(slot("A1")) },
        Said::TakeAsked { code: code(), order: Some(order), destination: None },
    ] {
        machine.say(&said, None).await.unwrap();
        gateway.until(&said).await;
    }
    let unmapped = machine.say(&Said::StrokesDone { count: 1 }, None).await;
    assert_eq!(unmapped, Err(CannotSay::NotMapped("strokes-done")));
}

#[tokio::test]
async fn values_of_another_machine_than_a_washer_are_told_as_they_come() {
    let broker = Embedded::start().await;
    let tension =
        json!([{ "signal": "measured", "name": "T", "quantity": "tension", "unit": "N/cm" }]);
    let settings = settings(&tension, &json!([]));
    let mut gateway = Gateway::start(broker.address, settings.clone());
    let machine = Machine::start(broker.address, &name(), settings);
    gateway.until_up().await;
    let said = Said::Measured { code: None, measurement: measurement("tension", 32.5, "N/cm") };
    machine.say(&said, None).await.unwrap();
    gateway.until(&said).await;
}
