//! Signals that come from several places, or from places in registers.

use stencilward_domain::names::{OrderName, ProductName};
use stencilward_domain::signal::OrderSpec;

use super::*;

const INPUT: RegisterTable = RegisterTable::Input;

fn bank(words: &[u16]) -> Bank {
    let mut bank = Bank::default();
    bank.set_words(INPUT, 0, words);
    bank
}

fn flag(signal: &str, at: u16, bit: u8) -> serde_json::Value {
    json!({ "signal": signal, "table": "input", "at": at, "bit": bit })
}

fn number(signal: &str, at: u16) -> serde_json::Value {
    json!({ "signal": signal, "table": "input", "at": at, "type": "u16" })
}

fn with(mut point: serde_json::Value, key: &str, value: serde_json::Value) -> serde_json::Value {
    point[key] = value;
    point
}

#[test]
fn a_code_that_stays_is_seated_only_while_a_stencil_is_present() {
    let mut both = decoder(&json!([flag("stencil-present", 0, 5), number("stencil-seated", 1)]));
    let seated = Said::Seated { code: code("44") };
    assert_eq!(both.round(&bank(&[1 << 5, 44])).said, [UP, seated]);
    assert_eq!(both.round(&bank(&[0, 44])).said, [Said::Removed]);
    assert_eq!(both.round(&bank(&[1 << 5, 0])).said, [Said::Removed]);
    let open = with(flag("stencil-present", 0, 5), "active", json!("off"));
    let mut alone = decoder(&json!([open]));
    assert_eq!(alone.round(&bank(&[0])).said, [UP], "who it is, nobody says");
    assert_eq!(alone.round(&bank(&[1 << 5])).said, [Said::Removed]);
}

#[test]
fn a_fault_is_told_by_its_number_in_the_machines_list() {
    let values = json!({ "7": "no paste", "9": "" });
    let mut decoder = decoder(&json!([with(number("fault-code", 0), "values", values)]));
    let raised =
        |code: &str, text: &str| Said::FaultRaised { code: code.to_owned(), text: text.to_owned() };
    let ended = |code: &str| Said::FaultEnded { code: code.to_owned() };
    assert_eq!(decoder.round(&bank(&[0])).said, [UP]);
    assert_eq!(decoder.round(&bank(&[7])).said, [raised("7", "no paste")]);
    assert_eq!(decoder.round(&bank(&[7])).said, []);
    let other = raised("8", "fault 8 of the machine's list");
    assert_eq!(decoder.round(&bank(&[8])).said, [ended("7"), other]);
    assert_eq!(decoder.round(&bank(&[9])).said, [ended("8")]);
    assert_eq!(decoder.round(&bank(&[0])).said, []);
}

#[test]
fn a_machine_that_is_gone_behind_its_controller_is_told_as_lost() {
    let mut decoder = decoder(&json!([flag("machine-link", 0, 0), number("stroke-total", 1)]));
    let told = |said: &[Said]| match said {
        [Said::LinkLost { why }] => why.clone(),
        other => panic!("{other:?}"),
    };
    assert!(told(&decoder.round(&bank(&[0, 5])).said).contains("not connected"));
    assert_eq!(decoder.round(&bank(&[0, 5])).said, []);
    let up = decoder.round(&bank(&[1, 5])).said;
    assert!(matches!(up.as_slice(), [Said::LinkUp { .. }, Said::CounterRead { raw: 5, .. }]));
    told(&decoder.round(&bank(&[0, 5])).said);
}

#[test]
fn a_life_sign_that_stands_still_is_told_as_lost() {
    let life = with(number("life-sign", 0), "within", json!("3s"));
    let mut decoder = decoder(&json!([life]));
    let mut said = |word: u16| decoder.round(&bank(&[word])).said;
    assert_eq!(said(1), [UP]);
    assert_eq!((said(1), said(1)), (vec![], vec![]));
    assert!(matches!(said(1).as_slice(), [Said::LinkLost { why }] if why.contains("for 3s")));
    assert_eq!(said(1), []);
    assert_eq!((said(2), said(3)), (vec![UP], vec![]));
}

#[test]
fn a_wash_with_its_programme_and_a_result_of_one_bit() {
    let mut decoder = decoder(&json!([
        flag("wash-running", 0, 0),
        { "signal": "wash-result", "table": "discrete", "at": 0, "type": "bit",
          "values": { "0": "failed", "1": "passed" } },
        { "signal": "wash-programme", "table": "input", "at": 0, "type": "u16", "bits": [4, 7],
          "values": { "3": "fine pitch" } },
    ]));
    let mut said = |word: u16, passed: bool| {
        let mut bank = bank(&[word]);
        bank.set_bit(BitTable::Discrete, 0, passed);
        decoder.round(&bank).said
    };
    assert_eq!(said(0x30, false), [UP]);
    let programme = Some("fine pitch".to_owned());
    assert_eq!(said(0x31, false), [Said::WashBegan { code: None, programme: programme.clone() }]);
    let ended = Said::WashEnded {
        code: None,
        programme,
        outcome: WashOutcome::Passed,
        measured: Vec::new(),
    };
    assert_eq!(said(0x00, true), [ended]);
}

#[test]
fn boards_are_counted_by_the_growth_of_their_total_even_across_a_lost_link() {
    let mut decoder = decoder(&json!([number("board-total", 0)]));
    let boards = |count| Said::BoardsCounted { count };
    assert_eq!(decoder.round(&bank(&[65_530])).said, [UP]);
    assert_eq!(decoder.round(&bank(&[65_530])).said, []);
    assert_eq!(decoder.round(&bank(&[4])).said, [boards(10)]);
    decoder.lost();
    assert_eq!(decoder.round(&bank(&[6])).said, [UP, boards(2)]);
    assert_eq!(decoder.round(&bank(&[1])).said, [boards(1)], "it started again");
}

#[test]
fn contacts_of_several_kinds_sit_in_one_register() {
    let mut decoder = decoder(&json!([
        flag("stroke-contact", 0, 0),
        flag("wipe-contact", 0, 1),
        flag("board-contact", 0, 2),
    ]));
    let mut said = |word: u16| decoder.round(&bank(&[word])).said;
    assert_eq!(said(0), [UP]);
    let all = [
        Said::StrokesDone { count: 1 },
        Said::WipesDone { count: 1 },
        Said::BoardsCounted { count: 1 },
    ];
    assert_eq!(said(0b111), all);
    assert_eq!(said(0b010), []);
    assert_eq!(said(0b110), [Said::BoardsCounted { count: 1 }]);
}

fn order(text: &str) -> OrderName {
    OrderName::new(text).unwrap()
}

#[test]
fn an_order_begins_and_ends_with_its_name() {
    let mut decoder = decoder(&json!([
        number("order", 0),
        with(number("order-product", 1), "values", json!({ "1": "teal" })),
        number("order-quantity", 2),
        number("order-made", 3),
    ]));
    let mut said = |words: [u16; 4]| decoder.round(&bank(&words)).said;
    let started = |name: &str, product: Option<&str>, quantity| {
        Said::OrderStarted(OrderSpec {
            product: product.map(|product| ProductName::new(product).unwrap()),
            quantity,
            ..OrderSpec::named(order(name))
        })
    };
    let finished = |name: &str, made| Said::OrderFinished { order: order(name), made };
    assert_eq!(said([0, 0, 0, 0]), [UP]);
    assert_eq!(said([17, 1, 400, 0]), [started("17", Some("teal"), Some(400))]);
    assert_eq!(said([17, 1, 400, 30]), []);
    let change = [finished("17", Some(30)), started("18", None, None)];
    assert_eq!(said([18, 0, 0, 0]), change, "boards of the next order are not of this one");
    assert_eq!(said([18, 0, 0, 5]), []);
    assert_eq!(said([0, 0, 0, 6]), [finished("18", Some(6))]);
}

#[test]
fn an_order_whose_name_stays_ends_with_its_bit_and_is_told_once_across_a_lost_link() {
    let mut decoder = decoder(&json!([number("order", 0), flag("order-running", 1, 15)]));
    let started = |name: &str| Said::OrderStarted(OrderSpec::named(order(name)));
    let finished = Said::OrderFinished { order: order("17"), made: None };
    assert_eq!(decoder.round(&bank(&[17, 0])).said, [UP]);
    assert_eq!(decoder.round(&bank(&[17, 0x8000])).said, [started("17")]);
    decoder.lost();
    assert_eq!(decoder.round(&bank(&[17, 0x8000])).said, [UP]);
    decoder.lost();
    assert_eq!(decoder.round(&bank(&[18, 0x8000])).said, [UP, finished, started("18")]);
    let finished = Said::OrderFinished { order: order("18"), made: None };
    assert_eq!(decoder.round(&bank(&[18, 0])).said, [finished]);
}

#[test]
fn a_question_is_told_once_and_waits_for_its_stencil() {
    let mut decoder = decoder(&json!([
        flag("store-asked", 0, 0),
        flag("take-asked", 0, 1),
        number("asked-stencil", 1),
        number("asked-slot", 2),
        number("asked-order", 3),
    ]));
    let store = |text: &str, slot: Option<&str>| Said::StoreAsked {
        code: code(text),
        slot: slot.map(|slot| SlotName::new(slot).unwrap()),
    };
    assert_eq!(decoder.round(&bank(&[0, 44, 3, 9])).said, [UP]);
    assert_eq!(decoder.round(&bank(&[1, 0, 3, 9])).said, [], "nobody knows yet of which");
    assert_eq!(decoder.round(&bank(&[1, 44, 3, 9])).said, [store("44", Some("3"))]);
    assert_eq!(decoder.round(&bank(&[1, 44, 3, 9])).said, []);
    decoder.lost();
    assert_eq!(decoder.round(&bank(&[1, 44, 3, 9])).said, [UP], "it was asked before");
    assert_eq!(decoder.round(&bank(&[1, 45, 0, 9])).said, [store("45", None)]);
    assert_eq!(decoder.round(&bank(&[0, 45, 0, 9])).said, []);
    assert_eq!(decoder.round(&bank(&[1, 45, 0, 9])).said, [store("45", None)], "asked again");
    let take = Said::TakeAsked { code: code("46"), order: Some(order("9")), destination: None };
    assert_eq!(decoder.round(&bank(&[2, 46, 0, 9])).said, [take]);
}

#[test]
fn a_value_is_told_with_its_stencil_when_the_station_says_that_it_is_valid() {
    let tension = json!({ "signal": "measured", "table": "input", "at": 2, "type": "u16",
        "scale": 0.1, "quantity": "tension", "unit": "N/cm" });
    let points = json!([flag("measured-taken", 0, 0), number("measured-stencil", 1), tension]);
    let mut decoder = decoder(&points);
    let told = |said: &[Said]| match said {
        [Said::Measured { code, measurement }] => (code.clone(), measurement.value),
        other => panic!("{other:?}"),
    };
    assert_eq!(decoder.round(&bank(&[0, 44, 381])).said, [UP]);
    let said = decoder.round(&bank(&[1, 44, 382])).said;
    assert_eq!(told(&said).0, Some(code("44")));
    assert!((told(&said).1 - 38.2).abs() < 1e-9);
    assert_eq!(decoder.round(&bank(&[1, 45, 400])).said, [], "not taken anew");
    decoder.lost();
    assert_eq!(decoder.round(&bank(&[1, 45, 400])).said, [UP]);
    assert_eq!(decoder.round(&bank(&[0, 45, 400])).said, []);
    let said = decoder.round(&bank(&[1, 45, 382])).said;
    assert_eq!(told(&said).0, Some(code("45")), "the same value of another stencil is told");
}

#[test]
fn of_what_a_round_did_not_read_nothing_is_told() {
    let mut decoder = decoder(&json!([
        number("stencil-seated", 0),
        with(number("stroke-total", 1), "poll", json!("10s")),
        with(with(number("slot-code", 2), "slot", json!("A1")), "poll", json!("10s")),
        { "signal": "measured", "table": "input", "at": 3, "type": "f32", "words": "high-first",
          "poll": "10s", "quantity": "temperature", "unit": "°C" },
    ]));
    assert_eq!(decoder.round(&bank(&[44, 5, 46, 0, 0])).said.len(), 5);
    let round = decoder.round(&bank(&[44]));
    assert_eq!(round.said, [Said::Seated { code: code("44") }]);
    assert_eq!(round.troubles, []);
}

#[test]
fn digits_above_nine_are_a_trouble_and_no_count() {
    let total = with(number("stroke-total", 0), "type", json!("bcd16"));
    let mut decoder = decoder(&json!([total]));
    let round = decoder.round(&bank(&[0x12A4]));
    assert_eq!(round.said, [UP]);
    assert_eq!(round.troubles[0].0, Trouble::Unreadable);
    assert!(round.troubles[0].1.contains("0x12a4"), "{:?}", round.troubles);
    let said = decoder.round(&bank(&[0x1234])).said;
    assert!(matches!(said.as_slice(), [Said::CounterRead { raw: 1_234, .. }]), "{said:?}");
}
