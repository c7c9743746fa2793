//! What is said, laid out, asked for in the protocol's own bytes, and decoded, is what was said.

use stencilward_domain::names::{CounterName, StencilCode};
use stencilward_domain::signal::{MachineState, Measurement, Reading, Said, Width};

use super::*;
use crate::modbus::decode::Decoder;
use crate::modbus::encode::show;
use crate::modbus::plan::Rounds;
use crate::modbus::settings::Table;

/// A machine and a decoder that reads it request by request, as bytes.
struct Wire {
    wiring: Arc<Wiring>,
    memory: Memory,
    decoder: Decoder,
    rounds: Rounds,
}

impl Wire {
    fn of(points: &serde_json::Value) -> Self {
        let settings = json!({ "address": "h:1", "addresses": "numbered", "gap": 3,
            "points": points });
        let settings: Settings = serde_json::from_value(settings).unwrap();
        assert_eq!(settings.check(), Vec::new());
        let wiring = Arc::new(Wiring::of(&settings));
        let (memory, rounds) = (Memory::new(Arc::clone(&wiring)), Rounds::of(&wiring));
        let decoder = Decoder::new(Arc::clone(&wiring));
        let mut wire = Self { wiring, memory, decoder, rounds };
        wire.round();
        wire
    }

    fn round(&mut self) -> Vec<Said> {
        let plan = self.rounds.due().clone();
        let mut bank = crate::modbus::bank::Bank::default();
        for reach in &plan.bits {
            let data = self.ask(reach.table.into(), reach.at, reach.count);
            let bit = |place: u16| data[usize::from(place / 8)] >> (place % 8) & 1 == 1;
            let bits: Vec<bool> = (0..reach.count).map(bit).collect();
            bank.set_bits(reach.table, reach.at, &bits);
        }
        for reach in &plan.words {
            let data = self.ask(reach.table.into(), reach.at, reach.count);
            let words: Vec<u16> = data.chunks(2).map(|pair| word([pair[0], pair[1]])).collect();
            assert_eq!(words.len(), usize::from(reach.count));
            bank.set_words(reach.table, reach.at, &words);
        }
        self.decoder.round(&bank).said
    }

    /// The data that a request for these places is answered with.
    fn ask(&mut self, table: Table, at: u16, count: u16) -> Vec<u8> {
        let function = match table {
            Table::Coil => 1,
            Table::Discrete => 2,
            Table::Holding => 3,
            Table::Input => 4,
        };
        let ([a, b], [c, d]) = (at.to_be_bytes(), count.to_be_bytes());
        let answer = answer(&mut self.memory, &[function, a, b, c, d]);
        let [answered, length, data @ ..] = answer.as_slice() else {
            panic!("{answer:?}");
        };
        assert_eq!((*answered, usize::from(*length)), (function, data.len()));
        data.to_vec()
    }

    /// What is heard once this was said.
    fn heard(&mut self, said: &Said) -> Vec<Said> {
        show(&self.wiring, &mut self.memory.bank, said).unwrap();
        self.round()
    }
}

/// Each type with the least and the largest number that it holds.
const RANGES: [(&str, f64, f64); 10] = [
    ("u16", 0.0, 65_535.0),
    ("i16", -32_768.0, 32_767.0),
    ("u32", 0.0, 4_294_967_295.0),
    ("i32", -2_147_483_648.0, 2_147_483_647.0),
    ("u64", 0.0, 9e15),
    ("i64", -9e15, 9e15),
    ("f32", -16_777_216.0, 16_777_216.0),
    ("f64", -9e15, 9e15),
    ("bcd16", 0.0, 9_999.0),
    ("bcd32", 0.0, 99_999_999.0),
];

proptest! {
    #![proptest_config(ProptestConfig::with_cases(1_000))]

    #[test]
    fn a_number_of_each_type_in_each_order(
        (kind, least, most) in prop::sample::select(&RANGES[..]), share in 0.0f64..=1.0,
        low_words: bool, low_bytes: bool, input: bool,
    ) {
        let order = |low: bool| if low { "low-first" } else { "high-first" };
        let words = (!kind.ends_with("16")).then(|| order(low_words));
        let (table, at) = if input { ("input", 30_011) } else { ("holding", 400_011) };
        let mut wire = Wire::of(&json!([
            { "signal": "measured", "table": table, "at": at, "type": kind, "words": words,
              "bytes": order(low_bytes), "quantity": "x", "unit": "1" },
        ]));
        let value = (least + (most - least) * share).trunc();
        let measurement = Measurement { quantity: "x".to_owned(), value, unit: "1".to_owned() };
        let said = Said::Measured { code: None, measurement };
        let news = if value == 0.0 { vec![] } else { vec![said.clone()] };
        prop_assert_eq!(wire.heard(&said), news);
    }

    #[test]
    fn a_total_and_a_code_and_parts_of_a_register(
        raw in 0u64..=99_999_999, text in "[!-~]{1,8}", low_words: bool, low_bytes: bool,
        state in 0u8..8, fault: bool,
    ) {
        let order = |low: bool| if low { "low-first" } else { "high-first" };
        let states: serde_json::Map<String, serde_json::Value> =
            (1..8).map(|raw| (raw.to_string(), json!("running"))).collect();
        let mut wire = Wire::of(&json!([
            { "signal": "stroke-total", "table": "input", "at": 30_001, "type": "bcd32",
              "words": order(low_words), "bytes": order(low_bytes) },
            { "signal": "stencil-seated", "table": "input", "at": 30_005, "type": "text",
              "registers": 4, "bytes": order(low_bytes) },
            { "signal": "machine-state", "table": "input", "at": 30_003, "type": "u16",
              "bits": [6, 8], "values": states },
            { "signal": "fault", "table": "input", "at": 30_003, "bit": 9, "active": "off",
              "code": "x", "text": "x" },
        ]));
        let seated = Said::Seated { code: StencilCode::new(&text).unwrap() };
        let read = Said::CounterRead {
            counter: CounterName::new("strokes").unwrap(),
            raw,
            width: Width::Bits32,
            reading: Reading::Polled,
        };
        wire.heard(&seated);
        let both = vec![seated, read.clone()];
        prop_assert_eq!(&wire.heard(&read), &both);
        let meant = if state == 0 { MachineState::Unknown } else { MachineState::Running };
        let said = Said::State { state: meant, word: state.to_string() };
        let news = (state > 0).then(|| said.clone());
        prop_assert_eq!(&wire.heard(&said)[2..], news.as_slice());
        let (code, text) = ("x".to_owned(), "x".to_owned());
        let news = fault.then(|| Said::FaultRaised { code: code.clone(), text });
        let said = news.clone().unwrap_or(Said::FaultEnded { code });
        prop_assert_eq!(&wire.heard(&said)[2..], news.as_slice());
        prop_assert_eq!(wire.round(), both);
    }
}
