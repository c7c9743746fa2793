//! A million random byte sequences through the payload's decoder: none makes it panic.

use stencilward_adapters::sparkplug::{Payload, PropertySet, PropertyValue, SentMetric, Value};

use crate::luck::Luck;

fn sample() -> Vec<u8> {
    let values = [
        Value::Int(7),
        Value::Long(u64::MAX),
        Value::Float(1.5),
        Value::Double(-0.0),
        Value::Boolean(true),
        Value::String("ST-1".to_owned()),
        Value::Bytes(vec![1, 2, 3]),
        Value::DataSet(vec![8, 1]),
    ];
    let metrics = values.into_iter().zip(1..).map(|(value, alias)| SentMetric {
        alias: Some(alias),
        properties: Some(PropertySet {
            keys: vec!["Quality".to_owned()],
            values: vec![PropertyValue { datatype: Some(3), int: Some(192) }],
        }),
        ..SentMetric::new("Strokes", 8, Some(value), 1)
    });
    Payload { timestamp: Some(1), metrics: metrics.collect(), seq: Some(2) }.bytes()
}

/// `STENCILWARD_PAYLOADS` runs so many; a million unless set.
#[test]
fn a_million_random_byte_sequences_do_no_harm() {
    let seed = 0x5eed_0f5a_11c7_u64;
    let mut luck = Luck(seed);
    let sample = sample();
    let given = std::env::var("STENCILWARD_PAYLOADS").ok();
    let count = given.and_then(|text| text.parse().ok()).unwrap_or(1_000_000_u32);
    let (mut good, mut bad) = (0_u32, 0_u32);
    for round in 0..count {
        // Half are noise; half are a good payload with some bytes changed, cut or doubled.
        let bytes = if round % 2 == 0 {
            (0..luck.below(48)).map(|_| luck.next().to_le_bytes()[3]).collect()
        } else {
            let mut bytes = sample.clone();
            for _ in 0..=luck.below(4) {
                let at = luck.below(bytes.len());
                match luck.below(4) {
                    0 => bytes.truncate(at.max(1)),
                    1 => bytes.extend_from_within(at..),
                    _ => bytes[at] = luck.next().to_le_bytes()[5],
                }
            }
            bytes
        };
        match Payload::read(&bytes) {
            Ok(payload) => {
                good += 1;
                let mut poor = payload.metrics.iter().filter_map(SentMetric::poor_quality);
                assert!(poor.all(|code| code != 192), "seed {seed:#x}, round {round}");
            }
            Err(error) => {
                bad += 1;
                assert!(!error.to_string().is_empty(), "seed {seed:#x}, round {round}");
            }
        }
    }
    assert!(good > count / 100 && bad > count / 100, "{good} were payloads, {bad} were none");
}
