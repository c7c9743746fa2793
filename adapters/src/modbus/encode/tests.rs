//! What is shown is read again as it was said, through every kind of point.

use std::sync::Arc;

use proptest::prelude::*;
use serde_json::json;
use stencilward_domain::names::{CounterName, OrderName, ProductName, SlotName};
use stencilward_domain::signal::{OrderSpec, Reading, Width};

use super::*;
use crate::modbus::decode::Decoder;
use crate::modbus::settings::{BitTable, RegisterTable, Settings};

fn wired(points: &serde_json::Value) -> (Arc<Wiring>, Bank) {
    let settings = json!({ "address": "h:502", "points": points });
    let settings: Settings = serde_json::from_value(settings).unwrap();
    assert_eq!(settings.check(), Vec::new());
    let mut bank = Bank::default();
    bank.set_words(RegisterTable::Input, 0, &[0; 64]);
    bank.set_bits(BitTable::Discrete, 0, &[false; 8]);
    (Arc::new(Wiring::of(&settings)), bank)
}

fn code(text: &str) -> Option<StencilCode> {
    Some(StencilCode::new(text).unwrap())
}

/// The news of a round after something was said, without the link's own.
fn heard(wiring: &Arc<Wiring>, bank: &mut Bank, said: &Said) -> Vec<Said> {
    let mut decoder = Decoder::new(Arc::clone(wiring));
    decoder.round(bank);
    show(wiring, bank, said).unwrap();
    decoder.round(bank).said
}

#[test]
fn each_signal_is_heard_as_it_was_said() {
    let (wiring, mut bank) = wired(&json!([
        { "signal": "machine-state", "table": "input", "at": 0, "type": "u16",
          "values": { "1": "running", "2": "set-up", "3": "set-up" } },
        { "signal": "fault", "table": "discrete", "at": 0, "code": "door", "text": "door open" },
        { "signal": "slot", "table": "discrete", "at": 1, "slot": "A1" },
        { "signal": "slot-code", "slot": "A1", "table": "input", "at": 1, "type": "text",
          "registers": 4, "bytes": "low-first" },
        { "signal": "slot-code", "slot": "A2", "table": "input", "at": 5, "type": "u32",
          "words": "low-first", "values": { "7": "ST-7" } },
        { "signal": "measured", "table": "input", "at": 7, "type": "i16", "scale": 0.25,
          "offset": -5.0, "quantity": "tension", "unit": "N/cm" },
    ]));
    let slot = |name: &str| SlotName::new(name).unwrap();
    let measurement =
        Measurement { quantity: "tension".to_owned(), value: 33.25, unit: "N/cm".to_owned() };
    let state = |state, word: &str| Said::State { state, word: word.to_owned() };
    let all = [
        state(MachineState::Running, "1"),
        state(MachineState::SetUp, "3"),
        state(MachineState::Unknown, "9"),
        Said::FaultRaised { code: "door".to_owned(), text: "door open".to_owned() },
        Said::FaultEnded { code: "door".to_owned() },
        Said::SlotOccupied { slot: slot("A1"), code: code("ST-1") },
        Said::SlotEmptied { slot: slot("A1"), code: code("ST-1") },
        Said::SlotOccupied { slot: slot("A2"), code: code("ST-7") },
        Said::SlotEmptied { slot: slot("A2"), code: code("ST-7") },
        Said::Measured { code: None, measurement },
    ];
    for said in all {
        assert_eq!(heard(&wiring, &mut bank, &said), [said]);
    }
}

#[test]
fn a_wash_is_heard_as_it_was_said() {
    let (wiring, mut bank) = wired(&json!([
        { "signal": "wash-running", "table": "discrete", "at": 0 },
        { "signal": "wash-result", "table": "input", "at": 0, "type": "u16",
          "values": { "1": "passed", "4": "aborted" } },
        { "signal": "wash-stencil", "table": "input", "at": 1, "type": "text", "registers": 4 },
        { "signal": "measured", "table": "input", "at": 5, "type": "f32", "words": "low-first",
          "quantity": "resistivity", "unit": "MΩ·cm" },
    ]));
    let began = Said::WashBegan { code: code("ST-1"), programme: None };
    assert_eq!(heard(&wiring, &mut bank, &began), [began]);
    let ended = Said::WashEnded {
        code: code("ST-1"),
        programme: None,
        outcome: WashOutcome::Aborted,
        measured: vec![Measurement {
            quantity: "resistivity".to_owned(),
            value: 12.5,
            unit: "MΩ·cm".to_owned(),
        }],
    };
    assert_eq!(heard(&wiring, &mut bank, &ended), [ended]);
    let failed = Said::WashEnded {
        code: None,
        programme: None,
        outcome: WashOutcome::Failed,
        measured: Vec::new(),
    };
    assert_eq!(show(&wiring, &mut bank, &failed), Err(NoRoom));
}

#[test]
fn what_is_not_mapped_cannot_be_said() {
    let (wiring, mut bank) = wired(&json!([
        { "signal": "stencil-seated", "table": "input", "at": 0, "type": "text", "registers": 2 },
    ]));
    let seated = |text: &str| Said::Seated { code: code(text).unwrap() };
    for said in [
        seated("12345"),
        Said::StrokesDone { count: 1 },
        Said::LinkUp { resumed: false },
        Said::WashBegan { code: None, programme: None },
        Said::SlotEmptied { slot: SlotName::new("A1").unwrap(), code: None },
        Said::FaultEnded { code: "x".to_owned() },
    ] {
        assert_eq!(show(&wiring, &mut bank, &said), Err(NoRoom), "{said:?}");
    }
    assert_eq!(show(&wiring, &mut bank, &seated("1234")), Ok(()));
}

fn settled(wiring: &Arc<Wiring>, bank: &mut Bank, said: &Said) -> Decoder {
    let mut decoder = Decoder::new(Arc::clone(wiring));
    show(wiring, bank, said).unwrap();
    decoder.round(bank);
    decoder
}

#[test]
fn orders_and_boards_are_heard_as_they_were_said() {
    let (wiring, mut bank) = wired(&json!([
        { "signal": "order", "table": "input", "at": 0, "type": "text", "registers": 4 },
        { "signal": "order-running", "table": "input", "at": 10, "bit": 3 },
        { "signal": "order-product", "table": "input", "at": 11, "type": "u16",
          "values": { "4": "teal" } },
        { "signal": "order-quantity", "table": "input", "at": 12, "type": "bcd16" },
        { "signal": "order-made", "table": "input", "at": 13, "type": "u16" },
        { "signal": "board-total", "table": "input", "at": 14, "type": "bcd16" },
    ]));
    let order = OrderName::new("WO-1").unwrap();
    let product = Some(ProductName::new("teal").unwrap());
    let spec = OrderSpec { product, quantity: Some(400), ..OrderSpec::named(order.clone()) };
    let started = Said::OrderStarted(spec);
    assert_eq!(heard(&wiring, &mut bank, &started), std::slice::from_ref(&started));
    let finished = Said::OrderFinished { order, made: Some(398) };
    let mut decoder = settled(&wiring, &mut bank, &started);
    show(&wiring, &mut bank, &finished).unwrap();
    assert_eq!(decoder.round(&bank).said, [finished]);
    let boards = Said::BoardsCounted { count: 9_998 };
    assert_eq!(heard(&wiring, &mut bank, &boards), [boards]);
    let boards = Said::BoardsCounted { count: 5 };
    assert_eq!(heard(&wiring, &mut bank, &boards), [boards], "past the last of its digits");
}

#[test]
fn questions_and_values_of_a_station_are_heard_as_they_were_said() {
    let (wiring, mut bank) = wired(&json!([
        { "signal": "store-asked", "table": "discrete", "at": 0 },
        { "signal": "take-asked", "table": "discrete", "at": 1, "active": "off" },
        { "signal": "asked-stencil", "table": "input", "at": 0, "type": "text", "registers": 4 },
        { "signal": "asked-slot", "table": "input", "at": 4, "type": "u16" },
        { "signal": "asked-order", "table": "input", "at": 5, "type": "u16" },
        { "signal": "measured-taken", "table": "discrete", "at": 2 },
        { "signal": "measured-stencil", "table": "input", "at": 6, "type": "u16" },
        { "signal": "measured", "table": "input", "at": 7, "type": "f64", "words": "low-first",
          "quantity": "tension", "unit": "N/cm" },
    ]));
    for flag in wiring.flags() {
        flag.write(&mut bank, false);
    }
    let stencil = || code("ST-1").unwrap();
    let order = OrderName::new("17").unwrap();
    let store = Said::StoreAsked { code: stencil(), slot: Some(SlotName::new("4").unwrap()) };
    let take = Said::TakeAsked { code: stencil(), order: Some(order), destination: None };
    let measurement =
        Measurement { quantity: "tension".to_owned(), value: 38.25, unit: "N/cm".to_owned() };
    let measured = Said::Measured { code: code("44"), measurement };
    for said in [store, take, measured] {
        assert_eq!(heard(&wiring, &mut bank, &said), [said]);
    }
}

#[test]
fn a_seat_with_a_bit_and_a_fault_by_its_number_are_heard_as_they_were_said() {
    let (wiring, mut bank) = wired(&json!([
        { "signal": "stencil-present", "table": "input", "at": 0, "bit": 8 },
        { "signal": "stencil-seated", "table": "input", "at": 1, "type": "u16" },
        { "signal": "fault-code", "table": "input", "at": 2, "type": "u16",
          "values": { "7": "no paste" } },
        { "signal": "life-sign", "table": "input", "at": 3, "type": "u16", "bits": [0, 1],
          "within": "1s" },
    ]));
    let fault = |code: &str| {
        [
            Said::FaultRaised { code: code.to_owned(), text: "no paste".to_owned() },
            Said::FaultEnded { code: code.to_owned() },
        ]
    };
    let seated = Said::Seated { code: code("44").unwrap() };
    assert_eq!(heard(&wiring, &mut bank, &seated), std::slice::from_ref(&seated));
    for said in fault("7") {
        assert_eq!(heard(&wiring, &mut bank, &said), [seated.clone(), said]);
    }
    assert_eq!(heard(&wiring, &mut bank, &Said::Removed), [Said::Removed]);
}

proptest! {
    #[test]
    fn seats_and_counts_come_back(
        raw in any::<u64>(), text in "[!-~]{1,16}", wide in any::<bool>(), low in any::<bool>(),
    ) {
        let words = if low { "low-first" } else { "high-first" };
        let (kind, width) = if wide { ("u64", Width::Bits64) } else { ("u32", Width::Bits32) };
        let (wiring, mut bank) = wired(&json!([
            { "signal": "stroke-total", "table": "input", "at": 0, "type": kind, "words": words },
            { "signal": "stencil-seated", "table": "input", "at": 4, "type": "text",
              "registers": 8, "bytes": words },
        ]));
        let seated = Said::Seated { code: StencilCode::new(&text).unwrap() };
        let counter = CounterName::new("strokes").unwrap();
        let read = |raw| Said::CounterRead {
            counter: counter.clone(), raw, width, reading: Reading::Polled,
        };
        show(&wiring, &mut bank, &seated).unwrap();
        let said = heard(&wiring, &mut bank, &read(raw));
        prop_assert_eq!(said, [seated, read(raw & width.largest())]);
    }
}
