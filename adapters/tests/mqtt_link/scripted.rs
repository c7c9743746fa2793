//! A peer that sends exactly what a test wants, byte by byte.

use std::net::SocketAddr;
use std::sync::Arc;

use futures::future::join_all;
use serde_json::json;
use stencilward_adapters::link::Trouble;
use stencilward_domain::names::OutputName;
use stencilward_domain::outputs::Wanted;
use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::{TcpListener, TcpStream};

use crate::gateway::{Gateway, name, printer, settings, total as total_of, until, within};
use crate::tap::packet;

/// Packet types and flags (MQTT 3.1.1, 2.2.1 and 2.2.2).
const CONNECT: u8 = 0x10;
const PUBACK: u8 = 0x40;
const PUBREC: u8 = 0x50;
const PUBCOMP: u8 = 0x70;
pub(crate) const SUBSCRIBE: u8 = 0x82;
/// With QoS 1, retained.
const PUBLISH: u8 = 0x33;

pub(crate) struct Peer(TcpListener);

pub(crate) struct Wire {
    stream: TcpStream,
    unread: Vec<u8>,
}

impl Peer {
    pub(crate) async fn listen() -> (Self, SocketAddr) {
        let listener = TcpListener::bind(("127.0.0.1", 0)).await.unwrap();
        let address = listener.local_addr().unwrap();
        (Self(listener), address)
    }

    /// The next connection of the consumer; those of the outbox are closed.
    pub(crate) async fn consumer(&self) -> Wire {
        self.client(b"gateway-in").await
    }

    /// What the consumer says first.
    pub(crate) async fn consumer_says(&self) -> Vec<u8> {
        loop {
            let (stream, _) = within("a connection", self.0.accept()).await.unwrap();
            let mut wire = Wire { stream, unread: Vec::new() };
            let connect = wire.expect(CONNECT).await;
            if connect.ends_with(b"gateway-in") {
                return connect;
            }
        }
    }

    /// The next connection of this client; others are closed.
    async fn client(&self, id: &[u8]) -> Wire {
        loop {
            let (stream, _) = within("a connection", self.0.accept()).await.unwrap();
            let mut wire = Wire { stream, unread: Vec::new() };
            let connect = wire.expect(CONNECT).await;
            if connect.ends_with(id) {
                return wire;
            }
        }
    }
}

impl Wire {
    pub(crate) async fn send(&mut self, bytes: &[u8]) {
        self.stream.write_all(bytes).await.unwrap();
    }

    /// The next packet with this first byte.
    pub(crate) async fn expect(&mut self, first: u8) -> Vec<u8> {
        within("a packet", async {
            loop {
                while let Some(packet) = packet(&mut self.unread) {
                    if packet.first() == Some(&first) {
                        return packet;
                    }
                }
                let mut buffer = [0; 1024];
                let length = self.stream.read(&mut buffer).await.unwrap();
                assert_ne!(length, 0, "the gateway hung up");
                self.unread.extend_from_slice(&buffer[..length]);
            }
        })
        .await
    }

    /// True when no acknowledgement has come that was not looked at.
    fn confirms_nothing(&mut self) -> bool {
        let _ = self.stream.try_read_buf(&mut self.unread);
        !self.unread.contains(&PUBACK)
    }

    /// Lets the consumer in, its session kept, and grants its one subscription.
    pub(crate) async fn let_in(&mut self, qos: u8) {
        self.send(&[0x20, 2, 1, 0]).await;
        let subscribe = self.expect(SUBSCRIBE).await;
        self.send(&[0x90, 3, subscribe[1], subscribe[2], qos]).await;
    }
}

/// MQTT 3.1.1, 4.3.3 and 4.4: a broker sends a release again when the session goes on, and the
/// receiver must answer it, also when it does not know the packet id.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_release_of_an_earlier_connection_is_answered() {
    let (peer, address) = Peer::listen().await;
    let total = json!({ "topic": "t", "signal": "stroke-total", "width": 32, "qos": 2 });
    let mut gateway = Gateway::start(address, settings(&json!([total]), &json!([])));
    let mut wire = peer.consumer().await;
    wire.let_in(2).await;
    assert!(gateway.hear_up().await);
    wire.send(&[0x62, 2, 0x12, 0x34]).await;
    assert_eq!(wire.expect(PUBCOMP).await, [PUBCOMP, 0x12, 0x34]);
    // And a message of this connection goes through all four steps.
    wire.send(&[0x34, 6, 0, 1, b't', 0x12, 0x34, b'7']).await;
    assert_eq!(gateway.totals(1).await, [7]);
    assert_eq!(wire.expect(PUBREC).await, [PUBREC, 0x12, 0x34]);
    wire.send(&[0x62, 2, 0x12, 0x34]).await;
    assert_eq!(wire.expect(PUBCOMP).await, [PUBCOMP, 0x12, 0x34]);
    gateway.kill().await;
}

/// A message of QoS 1 on a topic of one letter (MQTT 3.1.1, 3.3).
fn message(topic: u8, id: u8, payload: &[u8]) -> Vec<u8> {
    let length = u8::try_from(5 + payload.len()).unwrap();
    [&[0x32, length, 0, 1, topic, 0, id], payload].concat()
}

/// What arrives at once may be delivered together, but none of it with what came after a question;
/// all of it is acknowledged in its order (MQTT 3.1.1, 4.6), and nothing before it is durable.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn messages_that_arrive_at_once_are_confirmed_in_order() {
    let (peer, address) = Peer::listen().await;
    let total = json!({ "topic": "t", "signal": "stroke-total", "width": 32 });
    let ask = json!({ "topic": "a", "signal": "take-asked", "stencil": "/s", "identity": "/s" });
    let mut gateway = Gateway::start(address, settings(&json!([total, ask]), &json!([])));
    let mut wire = peer.consumer().await;
    wire.send(&[0x20, 2, 1, 0]).await;
    let subscribe = wire.expect(SUBSCRIBE).await;
    wire.send(&[0x90, 4, subscribe[1], subscribe[2], 1, 1]).await;
    assert!(gateway.hear_up().await);
    // Two hundred messages; every fiftieth asks.
    let packets = (1..=200_u8).map(|id| match id % 50 {
        0 => message(b'a', id, format!(r#"{{"s":"ST-{id}"}}"#).as_bytes()),
        _ => message(b't', id, id.to_string().as_bytes()),
    });
    wire.send(&packets.collect::<Vec<_>>().concat()).await;
    let (mut heard, mut asked, mut confirmed) = (Vec::<u64>::new(), 0, 0_u64);
    while asked < 4 {
        let delivery = gateway.take().await;
        assert!(wire.confirms_nothing(), "confirmed before it was durable");
        let totals: Vec<u64> = delivery.signals.iter().filter_map(total_of).collect();
        let asks = (delivery.signals.len() - totals.len()) as u64;
        assert!(asks == 0 || total_of(delivery.signals.last().unwrap()).is_none());
        assert!(asks <= 1, "an answer would wait for another one's");
        heard.extend(&totals);
        asked += asks;
        let last = if asks == 1 { asked * 50 } else { totals[totals.len() - 1] };
        delivery.receipt.send(Vec::new()).unwrap();
        while confirmed < last {
            confirmed += 1;
            let ack = wire.expect(PUBACK).await;
            assert_eq!(u64::from(ack[2]), confirmed);
        }
    }
    let numbers = (1..=200).filter(|id| id % 50 != 0);
    assert!(heard.iter().copied().eq(numbers), "{heard:?}");
    gateway.kill().await;
}

/// MQTT 3.1.1, 3.2.2.3: the return codes, each with words that say what to check.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn refusals_say_why() {
    let words =
        [(1, "3.1.1"), (2, "client id"), (3, "its own log"), (4, "password"), (5, "access list")];
    let refused = words.map(async |(code, word)| {
        let (peer, address) = Peer::listen().await;
        let mut gateway = Gateway::start(address, printer());
        let mut wire = peer.consumer().await;
        wire.send(&[0x20, 2, 0, code]).await;
        let why = gateway.hear_lost().await;
        assert!(why.contains(word), "{code}: {why}");
        assert!(gateway.notes.has(Trouble::Refused, word));
        gateway.stop().await;
    });
    join_all(refused).await;
}

/// A refused subscription (MQTT 3.1.1, 3.9.3: return code 0x80) is told.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn a_refused_subscription_is_told() {
    let (peer, address) = Peer::listen().await;
    let mut gateway = Gateway::start(address, printer());
    let mut wire = peer.consumer().await;
    wire.let_in(0x80).await;
    gateway.hear_up().await;
    let notes = gateway.notes.clone();
    until("trouble", || notes.has(Trouble::Refused, "p/total")).await;
    gateway.kill().await;
}

/// What is no MQTT at all, before and after being let in.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn garbage_is_told_and_tried_again() {
    // Long enough for what its second byte would mean as a length.
    let http = format!("HTTP/1.1 400 Bad Request\r\n\r\n{}", "x".repeat(80));
    let rubbish: [&[u8]; 4] =
        [http.as_bytes(), &[0; 8], &[0xff; 8], &[0x30, 0xff, 0xff, 0xff, 0xff]];
    let sent = rubbish.map(async |bytes| {
        let (peer, address) = Peer::listen().await;
        let mut gateway = Gateway::start(address, printer());
        let mut wire = peer.consumer().await;
        wire.send(bytes).await;
        gateway.hear_lost().await;
        let mut wire = peer.consumer().await;
        wire.let_in(1).await;
        assert!(gateway.hear_up().await);
        wire.send(bytes).await;
        assert!(!gateway.hear_lost().await.is_empty());
        gateway.stop().await;
    });
    join_all(sent).await;
}

/// A permission that was on its way when the connection broke does not come before the refusal
/// that is wanted now.
#[tokio::test(flavor = "multi_thread", worker_threads = 2)]
async fn an_old_permission_is_not_sent_again() {
    let (peer, address) = Peer::listen().await;
    let lock = json!({
        "name": "lock", "drive": "print-permit", "topic": "p", "permit": "open", "refuse": "shut",
    });
    let gateway = Gateway::start(address, settings(&json!([]), &json!([lock])));
    let mut wire = peer.client(b"gateway-out").await;
    wire.send(&[0x20, 2, 0, 0]).await;
    let shut = wire.expect(PUBLISH).await;
    assert!(shut.ends_with(b"shut"));
    wire.send(&[0x40, 2, shut[4], shut[5]]).await;
    let mut permitting = Wanted::default();
    permitting.permit(name("printer-1"), OutputName::new("lock").unwrap());
    gateway.wanted.send_replace(Arc::new(permitting));
    assert!(wire.expect(PUBLISH).await.ends_with(b"open"));
    gateway.wanted.send_replace(Arc::default());
    assert!(wire.expect(PUBLISH).await.ends_with(b"shut"));
    drop(wire);
    let mut wire = peer.client(b"gateway-out").await;
    wire.send(&[0x20, 2, 0, 0]).await;
    let first = wire.expect(PUBLISH).await;
    assert!(first.ends_with(b"shut"), "{first:?}");
    gateway.kill().await;
}
