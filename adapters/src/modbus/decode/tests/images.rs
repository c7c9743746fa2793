//! Any content of the registers is told or refused, never more.

use proptest::prelude::*;

use super::*;
use crate::modbus::plan::Rounds;

/// Registers that the points below take.
const REGISTERS: usize = 58;

/// Points of every signal and type, one behind the other.
fn everything() -> Decoder {
    let mut points = vec![
        json!({ "signal": "stencil-seated", "type": "text", "registers": 4 }),
        json!({ "signal": "wash-result", "type": "i16", "values": { "-1": "passed" } }),
        json!({ "signal": "wash-stencil", "type": "text", "registers": 3, "bytes": "low-first" }),
        json!({ "signal": "wash-programme", "type": "text", "registers": 2 }),
        json!({ "signal": "machine-state", "type": "i64", "words": "low-first",
                "values": { "0": "idle" } }),
        json!({ "signal": "fault-code", "type": "bcd16", "values": { "7": "no paste" } }),
        json!({ "signal": "slot-code", "slot": "A1", "type": "u64", "words": "high-first" }),
        json!({ "signal": "slot-code", "slot": "A2", "type": "text", "registers": 2 }),
        json!({ "signal": "order", "type": "text", "registers": 2 }),
        json!({ "signal": "order-product", "type": "u16", "bits": [4, 11] }),
        json!({ "signal": "order-quantity", "type": "bcd32", "words": "low-first" }),
        json!({ "signal": "order-made", "type": "u32", "words": "low-first" }),
        json!({ "signal": "asked-stencil", "type": "u32", "words": "high-first" }),
        json!({ "signal": "asked-slot", "type": "text", "registers": 2 }),
        json!({ "signal": "asked-order", "type": "bcd16" }),
        json!({ "signal": "life-sign", "type": "u16", "within": "10s" }),
        json!({ "signal": "board-total", "type": "bcd16" }),
    ];
    for kind in ["u16", "i16", "u32", "i32", "u64", "i64", "f32", "f64", "bcd16", "bcd32"] {
        let words = (!kind.ends_with("16")).then_some("low-first");
        points.push(json!({ "signal": "measured", "type": kind, "words": words, "scale": 1e300,
            "bytes": "low-first", "quantity": kind, "unit": "1" }));
    }
    let mut at = 0;
    for point in &mut points {
        let kind: crate::modbus::Type = serde_json::from_value(point["type"].clone()).unwrap();
        (point["table"], point["at"]) = (json!("input"), json!(at));
        at += kind.registers().unwrap_or_else(|| point["registers"].as_u64().unwrap() as u16);
    }
    assert_eq!(usize::from(at), REGISTERS);
    let bits = [
        "stencil-present",
        "wash-running",
        "order-running",
        "store-asked",
        "take-asked",
        "stroke-contact",
        "wipe-contact",
        "machine-link",
    ];
    let mut flags: Vec<serde_json::Value> = bits.map(|word| json!({ "signal": word })).into();
    flags.push(json!({ "signal": "fault", "code": "x", "text": "x" }));
    flags.push(json!({ "signal": "slot", "slot": "A1" }));
    for (at, flag) in flags.iter_mut().enumerate() {
        (flag["table"], flag["at"]) = (json!("holding"), json!(0));
        flag["bit"] = json!(at);
    }
    points.extend(flags);
    decoder(&json!(points))
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(10_000))]

    #[test]
    fn no_content_of_registers_is_too_much(
        rounds in prop::collection::vec(
            (prop::collection::vec(any::<u16>(), REGISTERS), any::<u16>()), 1..4,
        ),
        cut in 0usize..=REGISTERS,
    ) {
        let mut decoder = everything();
        prop_assert_eq!(Rounds::of(&decoder.wiring).due().words.len(), 2);
        for (words, flags) in rounds {
            let mut bank = Bank::default();
            bank.set_words(RegisterTable::Input, cut as u16, words.get(cut..).unwrap_or_default());
            bank.set_words(RegisterTable::Holding, 0, &[flags]);
            let round = decoder.round(&bank);
            let finite = |said: &Said| match said {
                Said::Measured { measurement, .. } => measurement.value.is_finite(),
                _ => true,
            };
            prop_assert!(round.said.iter().all(finite));
        }
    }
}
