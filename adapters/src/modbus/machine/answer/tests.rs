//! Requests of each function, good and wrong.

mod wire;

use std::sync::Arc;

use proptest::prelude::*;
use serde_json::json;

use super::*;
use crate::modbus::settings::Settings;
use crate::modbus::wiring::Wiring;

fn memory() -> Memory {
    let settings = json!({ "address": "h:1", "outputs": [
        { "name": "lock", "drive": "print-permit", "table": "coil", "at": 172,
          "on-permit": false, "read-back": { "table": "discrete", "at": 9 } },
        { "name": "alive", "drive": "heartbeat", "table": "holding", "at": 1 },
    ]});
    let settings: Settings = serde_json::from_value(settings).unwrap();
    Memory::new(Arc::new(Wiring::of(&settings)))
}

#[test]
fn quantity_is_judged_before_address() {
    let mut memory = memory();
    let mut ask = |request: &[u8]| answer(&mut memory, request);
    for function in 1..=4 {
        assert_eq!(ask(&[function, 0xFF, 0, 0, 0]), [function | 0x80, 3]);
        assert_eq!(ask(&[function, 0xFF, 0, 0xFF, 0xFF]), [function | 0x80, 3]);
        assert_eq!(ask(&[function, 0xFF, 0, 0, 1]), [function | 0x80, 2]);
        assert_eq!(ask(&[function, 0xFF, 0]), [function | 0x80, 3]);
    }
    assert_eq!(ask(&[5, 0, 172, 0xFF, 1]), [0x85, 3]);
    assert_eq!(ask(&[5, 0, 173, 0xFF, 0]), [0x85, 2]);
    assert_eq!(ask(&[6, 0, 2, 0, 0]), [0x86, 2]);
    assert_eq!(ask(&[0x0F, 0, 172, 0, 2, 2, 1, 0]), [0x8F, 3]);
    assert_eq!(ask(&[0x0F, 0, 172, 0, 2, 1, 1]), [0x8F, 2]);
    assert_eq!(ask(&[0x10, 0, 1, 0, 2, 2, 0, 0]), [0x90, 3]);
    assert_eq!(ask(&[0x10, 0, 1, 0, 2, 4, 0, 0, 0, 0]), [0x90, 2]);
    assert_eq!(ask(&[0x16, 0, 2, 0, 0, 0, 0]), [0x96, 2]);
    assert_eq!(ask(&[0x16, 0, 1, 0, 0]), [0x96, 3]);
    assert_eq!(ask(&[0x17, 0, 1, 0, 126, 0, 1, 0, 1, 2, 0, 9]), [0x97, 3]);
    assert_eq!(ask(&[0x17, 0, 1, 0, 1, 0, 1, 0, 1, 4, 0, 9]), [0x97, 3]);
    assert_eq!(ask(&[0x17, 0, 1, 0, 1, 0, 2, 0, 1, 2, 0, 9]), [0x97, 2]);
    assert_eq!(ask(&[0x17, 0, 1, 0, 2, 0, 1, 0, 1, 2, 0, 9]), [0x97, 2]);
    assert_eq!(ask(&[3, 0, 1, 0, 1]), [3, 2, 0, 0], "what is refused writes nothing");
    assert_eq!(ask(&[0x17, 0, 1, 0, 1, 0, 1, 0, 1, 2, 0, 9]), [0x17, 2, 0, 9]);
    assert_eq!(ask(&[0x2B, 0x0E, 1, 0]), [0xAB, 1], "a machine that says nothing of itself");
    assert_eq!(ask(&[0x14, 0]), [0x94, 1]);
    assert_eq!(ask(&[]), [0x80, 1]);
}

#[test]
fn an_output_refuses_at_first_and_shows_what_is_written() {
    let mut memory = memory();
    assert_eq!(memory.outputs(), [false, false]);
    assert_eq!(memory.bank.bit(BitTable::Discrete, 9), Some(true));
    answer(&mut memory, &[5, 0, 172, 0, 0]);
    assert_eq!(memory.bank.bit(BitTable::Discrete, 9), Some(false));
    answer(&mut memory, &[6, 0, 1, 0, 3]);
    assert_eq!(memory.outputs(), [true, true]);
    memory.disobeys = true;
    assert_eq!(answer(&mut memory, &[5, 0, 172, 0xFF, 0]), [5, 0, 172, 0xFF, 0]);
    assert_eq!(memory.outputs(), [true, true]);
}

/// The objects of an answer, and the one that follows.
fn objects(answer: &[u8]) -> (Vec<(u8, String)>, Option<u8>) {
    let [0x2B, 0x0E, _, _, more, next, count, objects @ ..] = answer else {
        panic!("{answer:?}");
    };
    let (mut told, mut rest) = (Vec::new(), objects);
    while let [number, length, more @ ..] = rest {
        let (text, after) = more.split_at(usize::from(*length));
        told.push((*number, String::from_utf8(text.to_vec()).unwrap()));
        rest = after;
    }
    assert_eq!(told.len(), usize::from(*count));
    (told, (*more == 0xFF).then_some(*next))
}

#[test]
fn an_identity_that_is_too_long_for_one_answer_comes_in_several() {
    let mut memory = memory();
    let texts: Vec<(u8, String)> =
        [0, 1, 2, 5, 0x80].map(|number| (number, "x".repeat(100 + usize::from(number)))).into();
    memory.identity = texts.iter().cloned().collect();
    let mut ask = |code, object| answer(&mut memory, &[0x2B, 0x0E, code, object]);
    let (mut told, mut from) = (Vec::new(), Some(0));
    while let Some(object) = from {
        let answer = ask(3, object);
        assert!(answer.len() <= 253);
        let (some, next) = objects(&answer);
        told.extend(some);
        from = next;
    }
    assert_eq!(told, texts);
    assert_eq!(objects(&ask(1, 2)).0, texts[2..3]);
    assert_eq!(objects(&ask(2, 5)).0, texts[3..4]);
    assert_eq!(objects(&ask(1, 9)).0, texts[..2], "an unknown object means the first");
    assert_eq!(ask(4, 0), [0xAB, 3]);
    assert_eq!(answer(&mut memory, &[0x2B, 0x0E, 1]), [0xAB, 3]);
}

proptest! {
    #[test]
    fn any_request_has_an_answer(request in prop::collection::vec(any::<u8>(), 0..260)) {
        let answer = answer(&mut memory(), &request);
        prop_assert!((2..=252).contains(&answer.len()));
    }
}
