//! Answers that are none: each is told for what it is, and none ends the task.

use std::future::Future;

use serde_json::json;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::TcpListener;
use tokio::time::timeout;

use super::*;
use crate::link::Trouble;
use crate::modbus::settings::Settings;

const TIMEOUT: Duration = Duration::from_millis(150);

fn client(address: &str, stop: CancellationToken) -> Client {
    let settings: Settings = serde_json::from_value(json!({ "address": address })).unwrap();
    let line = Arc::new(Line::new(settings.endpoint().unwrap(), false));
    Client::new(line, 1, TIMEOUT, stop)
}

/// Asks for one input register, and for it again, of a peer that gives these bytes and then
/// closes or keeps still.
async fn ask(bytes: &[u8], close: bool) -> [Result<Vec<u16>, Failure>; 2] {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap().to_string();
    let answering = async {
        let (mut stream, _) = listener.accept().await.unwrap();
        stream.read_exact(&mut [0; 12]).await.unwrap();
        stream.write_all(bytes).await.unwrap();
        if close {
            stream.shutdown().await.unwrap();
        }
        // Until the other side closes.
        let mut rest = Vec::new();
        let _ = stream.read_to_end(&mut rest).await;
        rest
    };
    let asking = async {
        let mut client = client(&address, CancellationToken::new());
        let reach = Reach { table: RegisterTable::Input, at: 0, count: 1 };
        [client.read_words(reach).await, client.read_words(reach).await]
    };
    let (rest, answers) = within(async { tokio::join!(answering, asking) }).await;
    let answered = matches!(answers[0], Ok(_) | Err(Failure::Exception { .. }));
    assert!(answered || rest.is_empty(), "a request was made after {answers:?}");
    answers
}

async fn within<T>(future: impl Future<Output = T>) -> T {
    timeout(Duration::from_secs(10), future).await.unwrap()
}

fn kind(answer: &Result<Vec<u16>, Failure>) -> Trouble {
    match answer {
        Err(Failure::Gone { kind, .. }) => *kind,
        other => panic!("{other:?}"),
    }
}

/// An answer of unit 1 to the first request.
fn framed(pdu: &[u8]) -> Vec<u8> {
    let mut frame = vec![0, 0, 0, 0, 0, pdu.len() as u8 + 1, 1];
    frame.extend(pdu);
    frame
}

#[tokio::test]
async fn a_proper_answer_is_taken() {
    let [first, second] = ask(&framed(&[4, 2, 0, 10]), false).await;
    assert_eq!(first, Ok(vec![10]));
    assert_eq!(kind(&second), Trouble::TimedOut);
}

#[tokio::test]
async fn an_exception_leaves_the_connection_in_order() {
    let [first, second] = ask(&framed(&[0x84, 2]), false).await;
    assert!(matches!(first, Err(Failure::Exception { busy: false, .. })), "{first:?}");
    assert_eq!(kind(&second), Trouble::TimedOut);
}

#[tokio::test]
async fn what_does_not_answer_the_question_is_garbled_and_ends_the_connection() {
    let mut other_transaction = framed(&[4, 2, 0, 10]);
    other_transaction[1] = 9;
    let mut other_unit = framed(&[4, 2, 0, 10]);
    other_unit[6] = 2;
    let mut other_protocol = framed(&[4, 2, 0, 10]);
    other_protocol[3] = 1;
    let mut no_length = framed(&[4, 2, 0, 10]);
    no_length[5] = 0;
    let garbled = [
        ("another transaction", other_transaction),
        ("another unit", other_unit),
        ("another protocol", other_protocol),
        ("no length", no_length),
        ("two registers for one", framed(&[4, 4, 0, 10, 0, 11])),
        ("no register", framed(&[4, 0])),
        ("an odd number of bytes", framed(&[4, 1, 0])),
        ("fewer bytes than announced", framed(&[4, 2, 0])),
        ("only a function", framed(&[4])),
        ("an exception without code", framed(&[0x84])),
        ("an exception of another function", framed(&[0x83, 2])),
        ("another function", framed(&[3, 2, 0, 10])),
    ];
    for (what, bytes) in garbled {
        let [first, second] = ask(&bytes, false).await;
        assert_eq!(kind(&first), Trouble::Garbled, "{what}");
        assert_eq!(kind(&second), Trouble::Broken, "{what}");
    }
}

#[tokio::test]
async fn a_peer_that_leaves_breaks_the_connection() {
    let whole = framed(&[4, 2, 0, 10]);
    for cut in 0..whole.len() {
        let [first, _] = ask(&whole[..cut], true).await;
        assert_eq!(kind(&first), Trouble::Broken, "after {cut} bytes");
    }
}

#[tokio::test]
async fn a_peer_that_speaks_another_protocol_is_no_machine() {
    let http = b"HTTP/1.1 400 Bad Request\r\nConnection: close\r\n\r\n";
    let [still, _] = ask(http, false).await;
    assert_eq!(kind(&still), Trouble::Garbled);
    let [closed, _] = ask(http, true).await;
    assert_eq!(kind(&closed), Trouble::Garbled);
}

/// Bytes without meaning, the same in every run.
struct Noise(u64);

impl Noise {
    fn next(&mut self) -> u8 {
        // The linear congruential generator of Knuth's MMIX.
        self.0 =
            self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 56) as u8
    }
}

#[tokio::test]
async fn no_bytes_end_the_task() {
    let mut noise = Noise(7);
    for round in 0..300 {
        let length = usize::from(noise.next() % 30);
        let mut bytes: Vec<u8> = (0..length).map(|_| noise.next()).collect();
        if round % 2 == 0 {
            // A proper header, so that it is looked at what is inside.
            bytes.truncate(20);
            if let Some(function) = bytes.first_mut() {
                *function = [1, 2, 3, 4, 5, 6, 0x0F, 0x10, 0x11, 0x16, 0x17, 0x2B][round / 2 % 12];
            }
            bytes = framed(&bytes);
        }
        let [first, _] = ask(&bytes, true).await;
        assert!(!matches!(first, Err(Failure::Stopped)), "{bytes:?}");
    }
}

#[tokio::test]
async fn once_the_link_ends_nothing_is_asked_but_last_words() {
    let listener = TcpListener::bind("127.0.0.1:0").await.unwrap();
    let address = listener.local_addr().unwrap().to_string();
    let stop = CancellationToken::new();
    let mut client = client(&address, stop.clone());
    let answering = async {
        let (mut peer, _) = listener.accept().await.unwrap();
        let mut told = [0; 2];
        for told in &mut told {
            let mut request = [0; 12];
            peer.read_exact(&mut request).await.unwrap();
            peer.write_all(&request).await.unwrap();
            *told = request[10];
        }
        told
    };
    let asking = async {
        assert_eq!(client.write_coil(1, true).await, Ok(()));
        stop.cancel();
        assert_eq!(client.write_coil(1, true).await, Err(Failure::Stopped));
        assert!(client.answers());
        client.begin();
        client.say_last_words();
        assert_eq!(client.write_coil(1, false).await, Ok(()));
    };
    let (told, ()) = within(async { tokio::join!(answering, asking) }).await;
    assert_eq!(told, [0xFF, 0]);
}
