//! A wire to a broker that notes what the gateway sends, and that can be cut or fall silent.

use std::net::SocketAddr;
use std::sync::{Arc, Mutex};

use tokio::io::{AsyncReadExt as _, AsyncWriteExt as _};
use tokio::net::tcp::{OwnedReadHalf, OwnedWriteHalf};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::task::JoinHandle;

/// What passes on the way from the gateway.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Seen {
    /// A message of the gateway on this topic.
    Publish(String),
    /// An acknowledgement of the gateway.
    Ack(u16),
}

#[derive(Clone, Copy, PartialEq)]
enum State {
    Open,
    Silent,
}

/// A wire that listens and goes on to a broker. It ends when dropped.
pub(crate) struct Tap {
    pub(crate) address: SocketAddr,
    seen: Arc<Mutex<Vec<Seen>>>,
    state: watch::Sender<State>,
    listening: JoinHandle<()>,
}

impl Tap {
    pub(crate) async fn to(broker: SocketAddr) -> Self {
        let listener = TcpListener::bind(("127.0.0.1", 0)).await.unwrap();
        let address = listener.local_addr().unwrap();
        let seen = Arc::new(Mutex::new(Vec::new()));
        let (state, watched) = watch::channel(State::Open);
        let noted = Arc::clone(&seen);
        let listening = tokio::spawn(async move {
            while let Ok((near, _)) = listener.accept().await {
                let Ok(far) = TcpStream::connect(broker).await else { continue };
                let (near_in, near_out) = near.into_split();
                let (far_in, far_out) = far.into_split();
                tokio::spawn(pass(near_in, far_out, watched.clone(), Some(noted.clone())));
                tokio::spawn(pass(far_in, near_out, watched.clone(), None));
            }
        });
        Self { address, seen, state, listening }
    }

    pub(crate) fn seen(&self) -> Vec<Seen> {
        self.seen.lock().unwrap().clone()
    }

    /// The packet ids acknowledged, in order.
    pub(crate) fn acks(&self) -> Vec<u16> {
        let ack = |seen: Seen| match seen {
            Seen::Ack(id) => Some(id),
            Seen::Publish(_) => None,
        };
        self.seen().into_iter().filter_map(ack).collect()
    }

    /// From now on nothing passes, and nobody is told.
    pub(crate) fn fall_silent(&self) {
        self.state.send_replace(State::Silent);
    }

    /// What was silent is cut; what comes from now on passes.
    pub(crate) fn recover(&self) {
        self.state.send_replace(State::Open);
    }
}

impl Drop for Tap {
    fn drop(&mut self) {
        self.listening.abort();
    }
}

async fn pass(
    mut from: OwnedReadHalf,
    mut to: OwnedWriteHalf,
    mut state: watch::Receiver<State>,
    noted: Option<Arc<Mutex<Vec<Seen>>>>,
) {
    let mut buffer = vec![0; 65_536];
    let mut unread = Vec::new();
    state.mark_unchanged();
    loop {
        if *state.borrow() == State::Silent {
            // Until it recovers, or the tap itself is dropped.
            let _ = state.wait_for(|state| *state == State::Open).await;
            return;
        }
        let read = tokio::select! {
            read = from.read(&mut buffer) => read,
            gone = state.changed() => {
                if gone.is_err() { return }
                continue;
            }
        };
        let bytes = match read {
            Ok(0) | Err(_) => return,
            Ok(length) => &buffer[..length],
        };
        if let Some(noted) = &noted {
            unread.extend_from_slice(bytes);
            while let Some(packet) = packet(&mut unread) {
                noted.lock().unwrap().extend(look_at(&packet));
            }
        }
        if to.write_all(bytes).await.is_err() {
            return;
        }
    }
}

/// Takes one whole packet from the front: its first byte, then what follows its length (MQTT
/// 3.1.1, 2.2.3).
pub(crate) fn packet(bytes: &mut Vec<u8>) -> Option<Vec<u8>> {
    let mut length = 0;
    for at in 1..5 {
        let byte = *bytes.get(at)?;
        length |= usize::from(byte & 0x7f) << (7 * (at - 1));
        if byte & 0x80 == 0 {
            let rest = bytes.get(at + 1..at + 1 + length)?;
            let packet = [&bytes[..1], rest].concat();
            bytes.drain(..at + 1 + length);
            return Some(packet);
        }
    }
    panic!("no packet begins with {bytes:?}")
}

fn look_at(packet: &[u8]) -> Option<Seen> {
    match packet {
        [first, high, low, rest @ ..] if first >> 4 == 3 => {
            let length = usize::from(u16::from_be_bytes([*high, *low]));
            Some(Seen::Publish(String::from_utf8(rest[..length].to_vec()).unwrap()))
        }
        [0x40, high, low] => Some(Seen::Ack(u16::from_be_bytes([*high, *low]))),
        _ => None,
    }
}
