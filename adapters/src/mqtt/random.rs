//! Random bytes through what reads packets and what reads answers: none makes it panic.
//!
//! Half are noise, half are good ones with some bytes changed, cut, doubled or put in.
//! `STENCILWARD_PAYLOADS` runs so many; a million unless set.

use std::sync::Mutex;
use std::time::Duration;

use bytes::{BufMut as _, Bytes};
use stencilward_domain::names::{MachineName, OutputName};

use super::outputs::Answers;
use super::packets::{Arrived, Inbox, Incoming, Outgoing, Post, Reply, Token};
use super::settings::{Settings, Version};
use crate::link::{Observer, Trouble};

/// `SplitMix64` (Steele, Lea and Flood 2014): a failure is repeated by its seed.
struct Luck(u64);

impl Luck {
    fn next(&mut self) -> u64 {
        self.0 = self.0.wrapping_add(0x9e37_79b9_7f4a_7c15);
        let mut z = self.0;
        z = (z ^ (z >> 30)).wrapping_mul(0xbf58_476d_1ce4_e5b9);
        z = (z ^ (z >> 27)).wrapping_mul(0x94d0_49bb_1331_11eb);
        z ^ (z >> 31)
    }

    fn byte(&mut self) -> u8 {
        self.next().to_le_bytes()[3]
    }

    fn below(&mut self, end: usize) -> usize {
        usize::try_from(self.next() % end.max(1) as u64).unwrap()
    }

    /// Noise, or one of these a little damaged.
    fn bytes(&mut self, good: &[Vec<u8>]) -> Vec<u8> {
        if self.below(2) == 0 {
            return (0..self.below(64)).map(|_| self.byte()).collect();
        }
        let mut bytes = good[self.below(good.len())].clone();
        for _ in 0..self.below(4) {
            let at = self.below(bytes.len());
            match self.below(6) {
                0 => bytes.truncate(at),
                1 => bytes.extend_from_within(at..),
                2 => bytes.insert(at, self.byte()),
                _ if bytes.is_empty() => {}
                _ => bytes[at] = self.byte(),
            }
        }
        bytes
    }
}

fn count() -> u64 {
    let given = std::env::var("STENCILWARD_PAYLOADS").ok();
    given.and_then(|text| text.parse().ok()).unwrap_or(1_000_000)
}

/// A message as a broker sends it, with everything it may bear.
fn message(version: Version, id: u16) -> Vec<u8> {
    let reply = Reply {
        topic: Some("a/answer".to_owned()),
        correlation: Bytes::from_static(b"17"),
        expiry: Some(5),
    };
    let post = Post {
        topic: "a/b".to_owned(),
        payload: br#"{"no":17,"result":"ok"}"#.to_vec(),
        retain: true,
        reply: Some(reply),
    };
    let mut out = bytes::BytesMut::new();
    version.write(&Outgoing::Publish(id, &post), &mut out).unwrap();
    out.to_vec()
}

/// What a broker sends (MQTT 3.1.1 and 5.0, 3.2 to 3.14), by hand.
fn packets(version: Version) -> Vec<Vec<u8>> {
    let mut good = vec![
        message(version, 0),
        message(version, 7),
        vec![0xd0, 0],
        vec![0x62, 2, 0, 9],
        vec![0x40, 2, 0, 7],
        vec![0x20, 2, 1, 0],
        vec![0x20, 2, 0, 5],
    ];
    match version {
        Version::Three => good.push(vec![0x90, 4, 0, 1, 1, 0x80]),
        Version::Five => good.extend([
            // Session expiry, receive maximum, largest packet, keep-alive, a reason.
            vec![
                0x20, 25, 0, 0, 22, 0x11, 0, 0, 0, 9, 0x21, 0, 9, 0x27, 0, 0, 9, 0, 0x13, 0, 9,
                0x1f, 0, 3, b'w', b'h', b'y',
            ],
            vec![0x90, 6, 0, 1, 0, 1, 0x87, 0xa2],
            vec![0x40, 4, 0, 7, 0x87, 0],
            vec![0xe0, 8, 0x8e, 6, 0x1f, 0, 3, b'b', b'y', b'e'],
            vec![0xe0, 1, 0x8b],
            vec![0xe0, 0],
        ]),
    }
    good
}

#[test]
fn packets_do_no_harm() {
    for version in [Version::Three, Version::Five] {
        let good = packets(version);
        for sample in &good {
            let mut inbox = Inbox::new(version, 4_096);
            inbox.buffer().put_slice(sample);
            let read = inbox.next();
            assert!(read.as_ref().is_ok_and(Option::is_some), "{version:?} {sample:?}: {read:?}");
        }
        let (mut taken, mut refused) = (0_u64, 0_u64);
        for seed in 0..count() {
            let mut luck = Luck(seed);
            let mut inbox = Inbox::new(version, luck.below(256));
            inbox.buffer().put_slice(&luck.bytes(&good));
            loop {
                match inbox.next() {
                    Ok(Some(Incoming::Message(arrived))) => {
                        let named = !arrived.topic.is_empty() || arrived.too_large.is_some();
                        assert!(named || version == Version::Three, "{seed}: {arrived:?}");
                        taken += 1;
                    }
                    Ok(Some(_)) => taken += 1,
                    Ok(None) => break,
                    Err(malformed) => {
                        assert!(malformed.0.len() < 400, "{seed}: {}", malformed.0);
                        refused += 1;
                        break;
                    }
                }
            }
        }
        assert!(taken > count() / 10 && refused > count() / 10, "{taken} {refused}");
    }
}

/// Keeps the longest of what it is told.
#[derive(Default)]
struct Ear(Mutex<(u64, usize)>);

impl Observer for Ear {
    fn trouble(&self, _: &MachineName, _: Trouble, detail: &str) {
        let mut told = self.0.lock().unwrap();
        *told = (told.0 + 1, told.1.max(detail.len()));
    }

    fn round(&self, _: &MachineName, _: Duration) {}

    fn output(&self, _: &MachineName, _: &OutputName, _: bool, _: Option<bool>) {}
}

#[test]
fn answers_do_no_harm() {
    let settings: Settings = serde_json::from_value(serde_json::json!({
        "broker": "b", "outputs": [
            {"name": "one", "drive": "door-release", "topic": "o", "number": "/no",
             "permit": "{\"a\":1}", "refuse": "{}",
             "answer": {"topic": "t", "number": "/no", "value": "/result", "text": "/why",
                        "done": ["ok"], "refused": ["no"]}},
            {"name": "two", "drive": "door-release", "topic": "p", "permit": "1", "refuse": "0",
             "answer": {"topic": "t", "done": ["ok"], "refused": ["no"]}},
        ]
    }))
    .unwrap();
    let machine = MachineName::new("m").unwrap();
    let answers = Answers::new(&[(machine, settings)]);
    let ear = Ear::default();
    let good: Vec<Vec<u8>> = [
        r#"{"no":17,"result":"ok"}"#,
        r#"{"no":17,"result":"no","why":"a tray is out"}"#,
        "ok",
        "17",
    ]
    .map(|text| text.as_bytes().to_vec())
    .into();
    for seed in 0..count() {
        let mut luck = Luck(seed);
        let arrived = Arrived {
            topic: "t".to_owned(),
            payload: luck.bytes(&good).into(),
            stored: luck.below(5) == 0,
            again: false,
            token: Token { qos: 1, id: 1 },
            correlation: (luck.below(2) == 0).then(|| luck.bytes(&good).into()),
            too_large: None,
        };
        assert!(answers.hear(&arrived, &ear));
    }
    let (told, longest) = *ear.0.lock().unwrap();
    // Of no output is there a command, so none is answered; what came from a store is not told.
    assert!(told > count() / 2 && longest < 400, "{told} {longest}");
}
