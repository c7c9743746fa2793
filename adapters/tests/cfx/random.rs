//! A million random bodies through the decoder: none makes it panic.

use proptest::prelude::*;
use serde_json::Value;
use stencilward_adapters::cfx::Decoder;

use crate::fixtures::{LARGEST, at, fixtures, gzip, machines};
use crate::luck::Luck;

fn bodies() -> Vec<Vec<u8>> {
    let envelopes: Vec<Value> =
        fixtures().iter().map(|fixture| fixture["envelope"].clone()).collect();
    let mut bodies: Vec<Vec<u8>> =
        envelopes.iter().map(|envelope| envelope.to_string().into_bytes()).collect();
    bodies.sort_by_key(Vec::len);
    bodies.truncate(20);
    bodies.extend(bodies.clone().iter().take(4).map(|body| gzip(body)));
    bodies
}

#[test]
fn a_million_random_bodies_do_no_harm() {
    let seed = 0x5eed_0cf8_11c7_u64;
    let mut luck = Luck(seed);
    let mut decoder = Decoder::new(&machines(), LARGEST);
    let bodies = bodies();
    let (mut good, mut bad) = (0_u32, 0_u32);
    for round in 0..1_000_000_u32 {
        // Some are noise; the others are good bodies with some bytes changed, cut or doubled.
        let body = if round % 4 == 0 {
            (0..luck.below(48)).map(|_| luck.next().to_le_bytes()[3]).collect()
        } else {
            let mut body = bodies[luck.below(bodies.len())].clone();
            for _ in 0..luck.below(3) {
                let at = luck.below(body.len());
                match luck.below(4) {
                    0 => body.truncate(at.max(1)),
                    1 => body.extend_from_within(at..(at + 9).min(body.len())),
                    _ => body[at] = luck.next().to_le_bytes()[5],
                }
            }
            body
        };
        let decoded = at(&mut decoder, &body, u64::from(round));
        if decoded.troubles.is_empty() { good += 1 } else { bad += 1 }
    }
    assert!(good > 100_000 && bad > 100_000, "{good} good, {bad} bad of seed {seed:#x}");
}

proptest! {
    #[test]
    fn no_bytes_do_harm(body in proptest::collection::vec(any::<u8>(), 0..200)) {
        let mut decoder = Decoder::new(&machines(), LARGEST);
        at(&mut decoder, &body, 0);
        at(&mut decoder, &gzip(&body), 1);
    }
}
