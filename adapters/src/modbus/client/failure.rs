//! What can go wrong with a connection, in words that say what to check.

use std::io;
use std::time::Duration;

use tokio_modbus::{Error, ExceptionCode};

use super::Peer;
use crate::link::Trouble;

/// Why there is no answer.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(crate) enum Failure {
    /// There is no connection, or none of any more use.
    Gone { kind: Trouble, why: String },
    /// The machine answered that it will not; the connection is in order.
    Exception { busy: bool, why: String },
    /// The link is ending.
    Stopped,
}

impl Failure {
    fn gone(kind: Trouble, why: String) -> Self {
        Self::Gone { kind, why }
    }

    pub(super) fn unreachable(address: &str, limit: Duration) -> Self {
        let why = format!(
            "no connection to {address} within {limit:?}: is the machine on and its network cable \
             plugged in, is the address right, does a firewall stand between?"
        );
        Self::gone(Trouble::TimedOut, why)
    }

    pub(super) fn no_connection(address: &str, error: &io::Error) -> Self {
        let (kind, check) = match error.kind() {
            io::ErrorKind::ConnectionRefused => (
                Trouble::Refused,
                "is the machine's Modbus server switched on, is the port right, does it already \
                 serve as many clients as it can?",
            ),
            io::ErrorKind::TimedOut => (Trouble::TimedOut, "is the machine on?"),
            _ => (Trouble::Broken, "does the host name resolve, is there a route to it?"),
        };
        Self::gone(kind, format!("no connection to {address} ({error}): {check}"))
    }

    pub(super) fn no_answer(peer: &Peer, what: &str, limit: Duration) -> Self {
        let why = format!(
            "{what}: no answer from {peer} within {limit:?}: is this the port of a Modbus server, \
             is the unit right, is the machine overloaded?"
        );
        Self::gone(Trouble::TimedOut, why)
    }

    pub(super) fn closed(peer: &Peer, what: &str) -> Self {
        Self::gone(Trouble::Broken, format!("{what}: the connection to {peer} is closed"))
    }

    pub(super) fn garbled(peer: &Peer, what: &str, found: &str) -> Self {
        let why = format!(
            "{what}: {peer} gave {found}: is this the port of a Modbus server, do two programs \
             share one serial line behind it?"
        );
        Self::gone(Trouble::Garbled, why)
    }

    pub(super) fn call(peer: &Peer, what: &str, error: &Error) -> Self {
        match error {
            Error::Protocol(error) => {
                Self::garbled(peer, what, &format!("an answer to another question ({error})"))
            }
            Error::Transport(error) if is_garbled(error) => {
                Self::garbled(peer, what, &format!("what is no Modbus answer ({error})"))
            }
            Error::Transport(error) => {
                let why = format!(
                    "{what}: {peer} closed the connection ({}): was the machine restarted, does it \
                     serve only so many clients?",
                    reason(error)
                );
                Self::gone(Trouble::Broken, why)
            }
        }
    }

    pub(super) fn exception(peer: &Peer, what: &str, code: ExceptionCode) -> Self {
        let busy = matches!(code, ExceptionCode::Acknowledge | ExceptionCode::ServerDeviceBusy);
        let number = u8::from(code);
        let why = format!("{what}: {peer} answered exception {number:02X}: {}", meaning(code));
        Self::Exception { busy, why }
    }
}

/// True for an error of the library's own making, not of the operating system: it could not make
/// sense of the bytes.
fn is_garbled(error: &io::Error) -> bool {
    error.raw_os_error().is_none()
        && matches!(
            error.kind(),
            io::ErrorKind::InvalidData | io::ErrorKind::InvalidInput | io::ErrorKind::UnexpectedEof
        )
}

/// When the peer closes, the library reports the last error of the operating system, which may be
/// of another call altogether. Only the kinds that speak of connections are worth repeating.
fn reason(error: &io::Error) -> String {
    match error.kind() {
        io::ErrorKind::ConnectionReset
        | io::ErrorKind::ConnectionAborted
        | io::ErrorKind::BrokenPipe
        | io::ErrorKind::TimedOut
        | io::ErrorKind::HostUnreachable
        | io::ErrorKind::NetworkUnreachable => error.to_string(),
        io::ErrorKind::Other => "in the middle of an answer".to_owned(),
        _ => "without an answer".to_owned(),
    }
}

/// What an exception code means for the one who wires the machine (MODBUS Application Protocol
/// V1.1b3, 7).
fn meaning(code: ExceptionCode) -> &'static str {
    match code {
        ExceptionCode::IllegalFunction => {
            "it has no such table or does not let it be written; compare the table with the \
             maker's list"
        }
        ExceptionCode::IllegalDataAddress => {
            "an address in this range does not exist; compare address and length with the maker's \
             list, and mind that some makers count from 1"
        }
        ExceptionCode::IllegalDataValue => {
            "it takes no request of this length or no such value; compare with the maker's list"
        }
        ExceptionCode::ServerDeviceFailure => "it failed; look at the machine's own messages",
        ExceptionCode::Acknowledge => "it is still at work on the request",
        ExceptionCode::ServerDeviceBusy => "it is busy",
        ExceptionCode::MemoryParityError => "its memory is damaged; call the maker's service",
        ExceptionCode::GatewayPathUnavailable => {
            "the converter between has no path to this unit; check its configuration, and the unit"
        }
        ExceptionCode::GatewayTargetDevice => {
            "the converter between got no answer from this unit; is the machine behind it on, is \
             the serial line plugged in, is the unit right?"
        }
        ExceptionCode::Custom(_) => "the protocol does not define it; see the maker's manual",
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn peer() -> Peer {
        Peer { address: "h:502".to_owned(), unit: 1 }
    }

    fn kind(error: io::Error) -> Trouble {
        match Failure::call(&peer(), "reading", &Error::Transport(error)) {
            Failure::Gone { kind, .. } => kind,
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn whatever_the_system_said_last_a_closed_connection_is_broken() {
        for code in [0, 11, 22, 104, 111, 115] {
            let error = io::Error::from_raw_os_error(code);
            assert_eq!(kind(error), Trouble::Broken, "{code}");
        }
        assert_eq!(kind(io::Error::other("bytes remaining on stream")), Trouble::Broken);
        for garbled in [io::ErrorKind::InvalidData, io::ErrorKind::UnexpectedEof] {
            assert_eq!(kind(io::Error::new(garbled, "x")), Trouble::Garbled);
        }
    }

    #[test]
    fn only_busy_exceptions_are_busy() {
        let busy: Vec<u8> = (1..=12)
            .filter(|code| {
                let code = ExceptionCode::new(*code);
                matches!(
                    Failure::exception(&peer(), "reading", code),
                    Failure::Exception { busy: true, .. }
                )
            })
            .collect();
        assert_eq!(busy, [5, 6]);
    }
}
