//! Rounds of invented machines.

mod images;
mod signals;

use serde_json::json;
use stencilward_domain::names::{CounterName, SlotName};
use stencilward_domain::signal::{MachineState, WashOutcome, Width};

use super::*;
use crate::modbus::settings::{BitTable, RegisterTable, Settings};

fn decoder(points: &serde_json::Value) -> Decoder {
    let settings = json!({ "address": "h:502", "points": points });
    let settings: Settings = serde_json::from_value(settings).unwrap();
    assert_eq!(settings.check(), Vec::new());
    Decoder::new(Arc::new(Wiring::of(&settings)))
}

fn code(text: &str) -> StencilCode {
    StencilCode::new(text).unwrap()
}

const UP: Said = Said::LinkUp { resumed: false };

#[test]
fn the_seat_comes_before_the_counters_and_both_in_every_round() {
    let mut decoder = decoder(&json!([
        { "signal": "stroke-total", "table": "input", "at": 0, "type": "u32", "words": "high-first" },
        { "signal": "stencil-seated", "table": "input", "at": 2, "type": "text", "registers": 2 },
    ]));
    let mut bank = Bank::default();
    bank.set_words(RegisterTable::Input, 0, &[1, 5, 0x5354, 0x3100]);
    let seated = Said::Seated { code: code("ST1") };
    let read = Said::CounterRead {
        counter: CounterName::new("strokes").unwrap(),
        raw: 65_541,
        width: Width::Bits32,
        reading: Reading::Polled,
    };
    let first = vec![UP, seated.clone(), read.clone()];
    assert_eq!(decoder.round(&bank).said, first);
    assert_eq!(decoder.round(&bank).said, [seated, read.clone()]);
    bank.set_words(RegisterTable::Input, 2, &[0, 0]);
    assert_eq!(decoder.round(&bank).said, [Said::Removed, read]);
}

/// The strokes of each round while a contact takes these levels. None: the link is lost.
fn strokes(counts_when: &str, levels: &[Option<bool>]) -> Vec<usize> {
    let mut decoder = decoder(&json!([
        { "signal": "stroke-contact", "table": "discrete", "at": 3, "counts-when": counts_when },
    ]));
    let mut bank = Bank::default();
    let mut told = Vec::new();
    for level in levels {
        let Some(level) = level else {
            decoder.lost();
            continue;
        };
        bank.set_bit(BitTable::Discrete, 3, *level);
        let said = decoder.round(&bank).said;
        told.push(said.iter().filter(|said| **said == Said::StrokesDone { count: 1 }).count());
    }
    told
}

#[test]
fn a_contact_counts_where_its_level_begins() {
    let (on, off) = (Some(true), Some(false));
    assert_eq!(strokes("on", &[off, on, on, off, on, off]), [0, 1, 0, 0, 1, 0]);
    assert_eq!(strokes("off", &[off, on, on, off, on, off]), [0, 0, 0, 1, 0, 1]);
    assert_eq!(strokes("on", &[on, off, on]), [0, 0, 1], "when it began is not known");
    assert_eq!(strokes("on", &[off, None, on, off, on]), [0, 0, 0, 1], "nor across a lost link");
}

#[test]
fn a_seat_that_cannot_be_read_seats_nothing_known() {
    let mut decoder = decoder(&json!([
        { "signal": "stencil-seated", "table": "input", "at": 0, "type": "text", "registers": 1 },
    ]));
    let mut bank = Bank::default();
    bank.set_words(RegisterTable::Input, 0, &[0xFFFF]);
    let round = decoder.round(&bank);
    assert_eq!(round.said, [UP, Said::Removed]);
    assert_eq!(round.troubles[0].0, Trouble::Unreadable);
    bank.set_words(RegisterTable::Input, 0, &[0x0741]);
    assert_eq!(decoder.round(&bank).troubles[0].0, Trouble::Senseless);
}

#[test]
fn states_faults_and_measured_values_are_told_first_and_when_they_change() {
    let mut decoder = decoder(&json!([
        { "signal": "machine-state", "table": "input", "at": 0, "type": "u16",
          "values": { "0": "idle", "1": "running" } },
        { "signal": "fault", "table": "discrete", "at": 5, "code": "door", "text": "door open" },
        { "signal": "measured", "table": "input", "at": 1, "type": "i16", "scale": 0.5,
          "offset": 10.0, "quantity": "temperature", "unit": "°C" },
    ]));
    let mut bank = Bank::default();
    bank.set_words(RegisterTable::Input, 0, &[1, 0xFFFE]);
    bank.set_bit(BitTable::Discrete, 5, true);
    let first = decoder.round(&bank).said;
    let state = |state, word: &str| Said::State { state, word: word.to_owned() };
    let raised = Said::FaultRaised { code: "door".to_owned(), text: "door open".to_owned() };
    let [up, running, fault, Said::Measured { measurement, .. }] = first.as_slice() else {
        panic!("{first:?}")
    };
    assert_eq!((up, running), (&UP, &state(MachineState::Running, "1")));
    assert_eq!(*fault, raised);
    assert_eq!((measurement.value, measurement.unit.as_str()), (9.0, "°C"));
    assert_eq!(decoder.round(&bank), Round::default());
    bank.set_words(RegisterTable::Input, 0, &[7]);
    bank.set_bit(BitTable::Discrete, 5, false);
    let ended = Said::FaultEnded { code: "door".to_owned() };
    let unknown = state(MachineState::Unknown, "7");
    assert_eq!(decoder.round(&bank).said, [unknown, ended.clone()]);
    decoder.lost();
    assert!(decoder.round(&bank).said.contains(&ended));
}

#[test]
fn a_slot_is_told_with_its_code_even_when_that_comes_a_round_later() {
    let mut decoder = decoder(&json!([
        { "signal": "slot", "table": "discrete", "at": 0, "slot": "A1" },
        { "signal": "slot-code", "slot": "A1", "table": "input", "at": 0, "type": "u16" },
    ]));
    let slot = SlotName::new("A1").unwrap();
    let mut bank = Bank::default();
    let mut show = |on, number| {
        bank.set_bit(BitTable::Discrete, 0, on);
        bank.set_words(RegisterTable::Input, 0, &[number]);
        decoder.round(&bank).said
    };
    let occupied = |code| Said::SlotOccupied { slot: slot.clone(), code };
    let emptied = |code| Said::SlotEmptied { slot: slot.clone(), code };
    assert_eq!(show(false, 0), [UP, emptied(None)]);
    assert_eq!(show(true, 0), []);
    assert_eq!(show(true, 44), [occupied(Some(code("44")))]);
    assert_eq!(show(true, 0), [], "the stencil is still there");
    assert_eq!(show(false, 0), [emptied(Some(code("44")))]);
    assert_eq!(show(true, 0), []);
    assert_eq!(show(true, 0), [occupied(None)]);
    assert_eq!(show(true, 45), [occupied(Some(code("45")))]);
}

#[test]
fn a_slot_can_be_told_by_its_code_alone() {
    let mut decoder = decoder(&json!([
        { "signal": "slot-code", "slot": "A1", "table": "input", "at": 0, "type": "u16" },
    ]));
    let mut bank = Bank::default();
    bank.set_words(RegisterTable::Input, 0, &[44]);
    let (slot, code) = (SlotName::new("A1").unwrap(), Some(code("44")));
    let occupied = Said::SlotOccupied { slot: slot.clone(), code: code.clone() };
    assert_eq!(decoder.round(&bank).said, [UP, occupied]);
    bank.set_words(RegisterTable::Input, 0, &[0]);
    assert_eq!(decoder.round(&bank).said, [Said::SlotEmptied { slot, code }]);
}

fn washer() -> Decoder {
    decoder(&json!([
        { "signal": "wash-running", "table": "discrete", "at": 3 },
        { "signal": "wash-result", "table": "input", "at": 4, "type": "u16",
          "values": { "1": "passed", "2": "failed" } },
        { "signal": "wash-stencil", "table": "input", "at": 5, "type": "u16" },
        { "signal": "measured", "table": "input", "at": 6, "type": "u16",
          "quantity": "resistivity", "unit": "MΩ·cm" },
    ]))
}

fn washed(running: bool, words: [u16; 3]) -> Bank {
    let mut bank = Bank::default();
    bank.set_bit(BitTable::Discrete, 3, running);
    bank.set_words(RegisterTable::Input, 4, &words);
    bank
}

fn ended(said: &[Said]) -> Option<(Option<StencilCode>, WashOutcome, f64)> {
    match said {
        [.., Said::WashEnded { code, outcome, measured, .. }] => {
            Some((code.clone(), *outcome, measured[0].value))
        }
        _ => None,
    }
}

#[test]
fn a_wash_is_told_by_the_edges_of_its_running_bit() {
    let mut decoder = washer();
    assert_eq!(decoder.round(&washed(false, [1, 0, 0])).said, [UP]);
    let began = |code| Said::WashBegan { code, programme: None };
    assert_eq!(decoder.round(&washed(true, [1, 44, 0])).said, [began(Some(code("44")))]);
    assert_eq!(decoder.round(&washed(true, [0, 44, 0])).said, []);
    let end = decoder.round(&washed(false, [2, 0, 12])).said;
    assert_eq!(ended(&end), Some((Some(code("44")), WashOutcome::Failed, 12.0)));
    assert_eq!(decoder.round(&washed(false, [2, 0, 12])).said, []);
    assert_eq!(decoder.round(&washed(true, [2, 0, 0])).said, [began(None)]);
}

#[test]
fn a_wash_that_ended_while_the_link_was_lost_is_told_afterwards() {
    let mut decoder = washer();
    decoder.round(&washed(true, [0, 44, 0]));
    decoder.lost();
    let round = decoder.round(&washed(false, [1, 0, 0]));
    assert_eq!(ended(&round.said), Some((Some(code("44")), WashOutcome::Passed, 0.0)));
    decoder.lost();
    assert_eq!(decoder.round(&washed(false, [1, 0, 0])).said, [UP]);
}

#[test]
fn the_end_of_a_wash_waits_for_its_result() {
    let mut decoder = washer();
    decoder.round(&washed(true, [0, 44, 0]));
    let round = decoder.round(&washed(false, [0, 0, 0]));
    assert_eq!((round.said, round.troubles[0].0), (vec![], Trouble::Senseless));
    assert_eq!(decoder.round(&washed(false, [0, 0, 0])), Round::default());
    assert!(ended(&decoder.round(&washed(false, [1, 0, 0])).said).is_some());
}
