//! Packets read from bytes as they come: whole, in pieces, too large, and no packets at all.

use bytes::BufMut as _;
use proptest::prelude::*;

use super::super::settings::Version;
use super::*;

fn read_all(version: Version, largest: usize, pieces: &[&[u8]]) -> Result<Vec<Arrived>, Malformed> {
    let mut inbox = Inbox::new(version, largest);
    let mut arrived = Vec::new();
    for piece in pieces {
        inbox.buffer().put_slice(piece);
        while let Some(incoming) = inbox.next()? {
            if let Incoming::Message(message) = incoming {
                arrived.push(message);
            }
        }
    }
    Ok(arrived)
}

/// A message of QoS 1 (MQTT 3.1.1, 3.3; 5.0 has the length of its properties after the id).
fn message(version: Version, topic: &str, id: u16, payload: &[u8]) -> Vec<u8> {
    let mut rest = Vec::new();
    rest.put_u16(u16::try_from(topic.len()).unwrap());
    rest.put_slice(topic.as_bytes());
    rest.put_u16(id);
    if version == Version::Five {
        rest.put_u8(0);
    }
    rest.put_slice(payload);
    let mut packet = vec![0x32];
    let mut length = rest.len();
    // MQTT 3.1.1, 2.2.3.
    loop {
        let more = if length > 127 { 0x80 } else { 0 };
        packet.push(u8::try_from(length % 128).unwrap() | more);
        length /= 128;
        if length == 0 {
            break;
        }
    }
    packet.extend(rest);
    packet
}

#[test]
fn what_is_too_large_is_read_past_in_any_pieces() {
    for version in [Version::Three, Version::Five] {
        let large = message(version, "a/b", 7, &[b'x'; 5_000]);
        let small = message(version, "c", 8, b"42");
        let bytes = [large.clone(), small].concat();
        for size in [1, 2, 3, 7, 100, 4_999, bytes.len()] {
            let pieces: Vec<&[u8]> = bytes.chunks(size).collect();
            let arrived = read_all(version, 1_000, &pieces).unwrap();
            let [first, second] = &arrived[..] else { panic!("{arrived:?}") };
            assert_eq!((first.topic.as_str(), first.token), ("a/b", Token { qos: 1, id: 7 }));
            assert_eq!((first.too_large, first.payload.len()), (Some(large.len()), 0));
            assert_eq!((second.topic.as_str(), &second.payload[..]), ("c", &b"42"[..]));
            assert_eq!(second.too_large, None);
        }
    }
}

#[test]
fn a_message_that_ends_within_its_topic_is_no_packet() {
    let mut bytes = vec![0x32, 0xff, 0xff, 0x7f];
    bytes.extend([0xff; 70_000]);
    assert!(read_all(Version::Three, 1_000, &[&bytes]).is_err(), "no UTF-8");
    assert!(read_all(Version::Three, 10, &[&[0x32, 11, 0, 200, b'a'][..]]).is_err());
    assert!(read_all(Version::Three, 1_000, &[&[0x30, 0xff, 0xff, 0xff, 0xff][..]]).is_err());
}

#[test]
fn a_packet_that_is_no_message_has_a_limit() {
    assert!(read_all(Version::Five, 1_000, &[&[0x90, 0xff, 0xff, 0xff, 0x7f][..]]).is_err());
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(4_000))]
    /// Bytes that look like packets: a type, a length that fits, and anything.
    #[test]
    fn no_bytes_make_it_panic(
        packets in prop::collection::vec((any::<u8>(), prop::collection::vec(any::<u8>(), 0..60)), 1..6),
        rubbish in prop::collection::vec(any::<u8>(), 0..40),
        largest in 0..50_usize,
    ) {
        let mut bytes = Vec::new();
        for (first, rest) in &packets {
            bytes.push(*first);
            bytes.push(u8::try_from(rest.len()).unwrap());
            bytes.extend(rest);
        }
        bytes.extend(&rubbish);
        for version in [Version::Three, Version::Five] {
            let _ = read_all(version, largest, &[&bytes]);
            let _ = read_all(version, largest, &[&rubbish]);
        }
    }
}
