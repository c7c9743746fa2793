//! What it takes to make signals of messages, without a connection.

use std::time::{Duration, Instant};

use serde_json::json;
use stencilward_adapters::cfx::{Decoder, Settings};
use stencilward_domain::names::MachineName;
use stencilward_domain::time::Timestamp;

use super::messages::{HANDLE, Packed, printed};
use super::{RUNS, figure};

const MESSAGES: u64 = 20_000;

pub(crate) fn bench(packed: Packed) {
    let settings = json!({
        "endpoint": "floor", "handle": HANDLE, "signals": ["strokes-done", "stencil-seated"],
    });
    let settings: Settings = serde_json::from_value(settings).unwrap();
    let machines = [(MachineName::new("printer").unwrap(), settings)];
    let texts: Vec<Vec<u8>> = (0..MESSAGES).map(printed).collect();
    let bytes: usize = texts.iter().map(Vec::len).sum();
    let messages: Vec<Vec<u8>> = texts.iter().map(|text| packed.pack(text)).collect();
    let (mut rates, mut volumes) = (vec![], vec![]);
    for _ in 0..RUNS {
        let mut decoder = Decoder::new(&machines, 4 << 20);
        let begun = Instant::now();
        let mut signals = 0;
        for message in &messages {
            signals += decoder.decode(message, Duration::ZERO, Timestamp(0)).signals.len();
        }
        let took = begun.elapsed().as_secs_f64();
        assert!(signals >= messages.len());
        rates.push(MESSAGES as f64 / took);
        volumes.push(bytes as f64 / took / 1e6);
    }
    figure(&format!("cfx.decode.{packed}.messages"), rates, "messages/s");
    figure(&format!("cfx.decode.{packed}.text"), volumes, "MB/s");
}
