//! Why there is no connection to a broker, or no more, in words that say what to check.

use std::io;

use crate::link::Trouble;
use crate::tls::{Peer, in_words};

const BROKER: Peer = Peer { called: "broker", port: 8883 };

/// Why there is no connection, or no more.
#[derive(Debug)]
pub(crate) enum Lost {
    /// Something of our own is missing or wrong.
    Ours(String),
    /// There is no way to it.
    Unreachable(io::Error),
    /// Securing the way failed.
    Unsecured(io::Error),
    /// It did not answer in time; to what.
    Late(&'static str),
    /// It said no.
    Refused(String),
    /// Another client has our client id.
    TakenOver,
    /// It took leave.
    Dismissed(String),
    /// It said nothing for too long.
    Silent,
    /// It said what is no MQTT, or not what may be said now.
    Garbled(String),
    /// The connection ended, without a word or with an error.
    Broken(Option<io::Error>),
}

impl Lost {
    /// The kind of trouble, and what to check.
    pub(crate) fn told(&self) -> (Trouble, String) {
        match self {
            Self::Ours(why) | Self::Refused(why) => (Trouble::Refused, why.clone()),
            Self::Unreachable(error) => unreachable(error, BROKER.called),
            Self::Unsecured(error) => unsecured(error),
            Self::Late(what) => (
                Trouble::TimedOut,
                format!(
                    "the broker does not answer {what}: see that it runs and that its address is \
                     right"
                ),
            ),
            Self::TakenOver => (
                Trouble::TakenOver,
                "another client with this client id took the connection over: give each client \
                 of the broker a `client` of its own"
                    .to_owned(),
            ),
            Self::Dismissed(why) => (Trouble::Broken, why.clone()),
            Self::Silent => (
                Trouble::TimedOut,
                "the broker has gone silent: see that it runs and that the network is up"
                    .to_owned(),
            ),
            Self::Garbled(what) => (
                Trouble::Garbled,
                format!(
                    "what answers does not speak MQTT ({what}): see that the address is a \
                     broker's, and that the port is not its secured one"
                ),
            ),
            Self::Broken(error) => broken(error.as_ref()),
        }
    }

    /// True when the other side ended the connection without saying why: what a broker of 3.1.1
    /// does when a second client comes with the same client id.
    pub(super) fn is_wordless_end(&self) -> bool {
        matches!(self, Self::Broken(_))
    }
}

/// Why there is no way to a broker.
pub(crate) fn unreachable(error: &io::Error, called: &str) -> (Trouble, String) {
    match error.kind() {
        io::ErrorKind::ConnectionRefused => (
            Trouble::Refused,
            format!(
                "nobody listens there: see that the {called} runs and that its address is right"
            ),
        ),
        _ => (
            Trouble::Broken,
            format!(
                "there is no way to the {called} ({error}): see that its name and address are \
                 right and that the network is up"
            ),
        ),
    }
}

fn unsecured(error: &io::Error) -> (Trouble, String) {
    match in_words(error, BROKER) {
        Some(why) => (Trouble::Refused, why),
        None => (
            Trouble::Broken,
            format!(
                "the connection ended while it was being secured ({error}): is this the broker's \
                 secured port, 8883 unless its settings say otherwise?"
            ),
        ),
    }
}

fn broken(error: Option<&io::Error>) -> (Trouble, String) {
    // A broker refuses our certificate only after our side of TLS 1.3 is through.
    if let Some(why) = error.and_then(|error| in_words(error, BROKER)) {
        return (Trouble::Refused, why);
    }
    (
        Trouble::Broken,
        "the connection broke: see that the broker runs, that the network is up, and that no \
         other client uses the same client id"
            .to_owned(),
    )
}
