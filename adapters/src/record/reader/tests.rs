//! Whatever the bytes of a recording, each line is told for what it is.

use proptest::prelude::*;
use stencilward_domain::names::MachineName;
use stencilward_domain::signal::Said;

use super::*;
use crate::record::{About, Decodes, Entry, Given, Happened, Header, Heard, Player, Raw};

fn about() -> About {
    About {
        machine: MachineName::new("printer-1").unwrap(),
        kind: "printer".to_owned(),
        protocol: "modbus".to_owned(),
        settings: "0".to_owned(),
    }
}

fn header() -> Vec<u8> {
    let About { machine, kind, protocol, settings } = about();
    let (at, program) = (crate::link::now(), "1".to_owned());
    Line::Header(Header { format: 1, at, machine, kind, protocol, program, settings }).written()
}

fn round(total: u16) -> Vec<u8> {
    let held = serde_json::from_value(serde_json::json!({ "input": { "0": [total] } })).unwrap();
    let up = (total == 0).then_some(Said::LinkUp { resumed: false });
    let read = serde_json::json!({ "signal": "stroke-total", "counter": "strokes", "raw": total,
        "width": "bits16", "reading": "polled" });
    let said = up.into_iter().chain([serde_json::from_value(read).unwrap()]);
    let given = Given { signals: said.map(Heard::plain).collect(), troubles: Vec::new() };
    let at = crate::link::now();
    Line::Entry(Box::new(Entry { at, raw: Raw::Round(held), given })).written()
}

fn player() -> Player {
    let settings = serde_json::json!({ "address": "h:1", "points": [
        { "signal": "stroke-total", "table": "input", "at": 0, "type": "u16" },
    ]});
    let settings = serde_json::from_value(settings).unwrap();
    Player::new(about(), Decodes::Modbus(Box::new(settings)))
}

/// What becomes of each line, in a word.
fn play(bytes: &[u8]) -> Result<Vec<(usize, &'static str)>, String> {
    let mut player = player();
    let lines = Reader::new(bytes).map(|line| {
        let (number, read) = line.unwrap();
        let word = match player.play(read)? {
            Happened::Began { .. } => "began",
            Happened::Same { .. } => "same",
            Happened::Differs { .. } => "differs",
            Happened::Uncertain { .. } => "uncertain",
            Happened::Gap(_) => "gap",
            Happened::Torn => "torn",
            Happened::Damaged(_) => "damaged",
        };
        Ok((number, word))
    });
    lines.collect()
}

#[test]
fn a_damaged_line_is_told_and_what_follows_is_not_compared_until_the_decoder_begins_anew() {
    let lost = b"{\"at\":\"2026-03-01T06:00:00Z\",\"lost\":\"cut\"}\n".to_vec();
    let garbage = b"{\"at\":\"2026-03-01T06:00:00Z\",\"rou\n".to_vec();
    let all = [header(), round(0), garbage.clone(), round(1), lost, round(0), garbage].concat();
    let words = ["began", "same", "damaged", "uncertain", "same", "same", "damaged"];
    assert_eq!(play(&all).unwrap(), (1..).zip(words).collect::<Vec<_>>());
    let torn = [header(), round(0), round(1)[..30].to_vec()].concat();
    assert_eq!(play(&torn).unwrap()[2], (3, "torn"));
}

#[test]
fn what_was_recorded_otherwise_is_refused_or_differs() {
    assert!(play(b"").unwrap().is_empty());
    for (from, to, word) in [
        ("\"modbus\"", "\"mqtt\"", "over mqtt; printer-1 speaks modbus"),
        ("\"kind\":\"printer\"", "\"kind\":\"rack\"", "of kind rack; printer-1 is of kind printer"),
        ("recording\":1", "recording\":2", "newer version"),
        ("{\"stencil", "{\"stan", "does not begin"),
    ] {
        let text = String::from_utf8(header()).unwrap();
        assert!(text.contains(from), "{text}");
        let why = play(text.replace(from, to).as_bytes()).unwrap_err();
        assert!(why.contains(word), "{why}");
    }
    let other = String::from_utf8(round(0)).unwrap().replace("\"raw\":0", "\"raw\":1");
    let all = [header(), other.into_bytes()].concat();
    assert_eq!(play(&all).unwrap()[1], (2, "differs"));
}

#[test]
fn a_line_without_an_end_is_told_and_not_kept() {
    let mut all = [header(), vec![b'x'; LONGEST_LINE + 2]].concat();
    all.push(b'\n');
    all.extend(round(0));
    let words: Vec<_> = play(&all).unwrap().into_iter().map(|(_, word)| word).collect();
    assert_eq!(words, ["began", "damaged", "uncertain"]);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(2_000))]

    #[test]
    fn no_bytes_make_it_panic(bytes in prop::collection::vec(any::<u8>(), 0..300)) {
        let _ = play(&bytes);
        let _ = play(&[header(), bytes].concat());
    }

    #[test]
    fn no_damage_makes_it_panic(places in prop::collection::vec((0usize..2_000, any::<u8>()), 1..4)) {
        let mut all = [header(), round(0), round(1), round(2)].concat();
        for (at, byte) in places {
            let at = at % all.len();
            all[at] = byte;
        }
        if let Ok(played) = play(&all) {
            prop_assert!(!played.is_empty());
        }
    }
}
