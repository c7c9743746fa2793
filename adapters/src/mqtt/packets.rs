//! Packets of MQTT 3.1.1 and 5.0, in one form for both. The library's codec does the reading and
//! writing; nothing here knows a connection.

mod first;
mod five;
mod inbox;
mod three;

use bytes::{Bytes, BytesMut};
use rumqttc::mqttbytes::v4;
use rumqttc::v5::mqttbytes::v5;

use super::settings::Version;

pub(crate) use first::Hello;
pub(super) use first::Login;
pub(super) use inbox::Inbox;

/// A packet that cannot be read, or not written.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct Malformed(pub(super) String);

/// What a broker sends.
#[derive(Debug)]
pub(super) enum Incoming {
    /// It lets us in.
    Welcome(Welcome),
    /// It does not: why, and what to do.
    Refused(String),
    Message(Arrived),
    /// It has what was published under this id, or says why it will not have it.
    Confirmed {
        id: u16,
        refusal: Option<String>,
    },
    /// What became of each filter of a subscription, in its order.
    Granted {
        id: u16,
        grants: Vec<Grant>,
    },
    /// The end of a message of QoS 2.
    Released(u16),
    Pong,
    Goodbye(Goodbye),
    /// Of no concern to us.
    Other,
}

/// A broker's terms.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(super) struct Welcome {
    /// It has kept the session.
    pub(super) resumed: bool,
    /// Messages it takes before it confirms one.
    pub(super) receive_maximum: u16,
    /// The largest packet it takes, in bytes.
    pub(super) largest: Option<u32>,
    /// The keep-alive it wants, in seconds.
    pub(super) keep_alive: Option<u16>,
    /// How long it keeps the session, in seconds.
    pub(super) session_expiry: Option<u32>,
}

/// A message that arrived.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) struct Arrived {
    pub(crate) topic: String,
    pub(crate) payload: Bytes,
    /// From the broker's store.
    pub(crate) stored: bool,
    /// The broker may have sent it before.
    pub(crate) again: bool,
    pub(crate) token: Token,
    /// What ties it to a command, where it has such (5.0 only).
    pub(crate) correlation: Option<Bytes>,
    /// The whole packet's size when it was too large: its payload was thrown away.
    pub(crate) too_large: Option<usize>,
}

/// What acknowledges a message.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Token {
    pub(crate) qos: u8,
    pub(crate) id: u16,
}

/// What a broker makes of a filter.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Grant {
    Qos(u8),
    /// Why not, and what to do.
    Refused(String),
}

/// Why a broker ends a connection.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) enum Goodbye {
    TakenOver,
    Other(String),
}

/// A message to publish.
#[derive(Debug, Clone)]
pub(crate) struct Post {
    pub(crate) topic: String,
    pub(crate) payload: Vec<u8>,
    pub(crate) retain: bool,
    /// How it is to be answered, where it is (5.0 only).
    pub(crate) reply: Option<Reply>,
}

/// How a message is to be answered.
#[derive(Debug, Clone)]
pub(crate) struct Reply {
    /// The topic of the answer; none in an answer itself.
    pub(crate) topic: Option<String>,
    /// What the answer gives back.
    pub(crate) correlation: Bytes,
    /// After so many seconds the broker need not deliver it any more.
    pub(crate) expiry: Option<u32>,
}

/// What we send.
#[derive(Debug)]
pub(super) enum Outgoing<'a> {
    Hello(&'a Hello),
    Subscribe(u16, &'a [(String, u8)]),
    /// With QoS 1 under this id; with QoS 0 under none, which is 0 (2.2.1).
    Publish(u16, &'a Post),
    /// The message is dealt with.
    Acknowledge(Token),
    /// The answer to a release.
    Complete(u16),
    Ping,
    Leave,
}

impl Version {
    /// Reads one whole packet.
    pub(super) fn read(self, mut frame: BytesMut) -> Result<Incoming, Malformed> {
        let whole = frame.len();
        match self {
            // A broker that knows no 5.0 says so in the older form.
            Self::Five if frame.first() == Some(&0x20) && whole == 4 => {
                v4::Packet::read(&mut frame, whole).map(three::incoming).map_err(malformed)
            }
            // Without a reason it is an ordinary end, which the library does not read.
            Self::Five if frame.first() == Some(&0xe0) && whole == 2 => {
                Ok(Incoming::Goodbye(Goodbye::Other("the broker ends the connection".to_owned())))
            }
            // With a reason and nothing else it may be so short, which the library does not know.
            Self::Five if frame.first() == Some(&0xe0) && whole == 3 => {
                let code = frame.get(2).copied().unwrap_or_default();
                self.read(BytesMut::from(&[0xe0, 2, code, 0][..]))
            }
            Self::Three => {
                v4::Packet::read(&mut frame, whole).map(three::incoming).map_err(malformed)
            }
            Self::Five => {
                let largest = u32::try_from(whole).ok();
                let packet = v5::Packet::read(&mut frame, largest).map_err(malformed)?;
                five::incoming(packet)
            }
        }
    }

    /// Writes a packet behind what the buffer holds.
    pub(super) fn write(self, packet: &Outgoing<'_>, out: &mut BytesMut) -> Result<(), Malformed> {
        let written = match self {
            Self::Three => three::outgoing(packet).write(out, usize::MAX).map_err(malformed),
            Self::Five => five::outgoing(packet).write(out, None).map_err(malformed),
        };
        written.map(|_| ())
    }
}

fn malformed(error: impl std::fmt::Display) -> Malformed {
    Malformed(error.to_string())
}

/// What the broker's refusal of a user means, in both versions.
const NOT_AUTHORISED: &str =
    "the broker does not let this client in: set its user, and let its access list allow it";
const BAD_PASSWORD: &str = "the broker refuses user or password: see that both are right";
const BAD_CLIENT: &str = "the broker refuses the client id: choose another one";
const NOT_AVAILABLE: &str = "the broker is not available: see its own log";

#[cfg(test)]
mod tests;
