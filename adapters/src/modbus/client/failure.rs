//! What can go wrong with a connection, in words that say what to check.

use std::io;
use std::time::Duration;

use tokio_modbus::ExceptionCode;

use super::Peer;
use crate::link::Trouble;
use crate::modbus::line::{Lapse, Opening};
use crate::modbus::tls;
use crate::tls::{self as secured, in_words};

const MACHINE: secured::Peer = secured::Peer { called: "machine", port: 802 };

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

    /// There is no connection.
    pub(super) fn no_connection(place: &str, opening: &Opening, limit: Duration) -> Self {
        let no = format!("no connection to {place}");
        match opening {
            Opening::Late => Self::gone(
                Trouble::TimedOut,
                format!(
                    "{no} within {limit:?}: is the machine on and its network cable plugged in, is \
                     the address right, does a firewall stand between?"
                ),
            ),
            Opening::Network(error) => {
                let (kind, check) = of_network(error);
                Self::gone(kind, format!("{no} ({error}): {check}"))
            }
            Opening::Port(error) => {
                let (kind, check) = of_port(error);
                Self::gone(kind, format!("the serial port {place} cannot be opened: {check}"))
            }
            Opening::Secure(tls::Fault::Files(why)) => {
                Self::gone(Trouble::Refused, format!("{no}: {why}"))
            }
            Opening::Secure(tls::Fault::Handshake(error)) => match in_words(error, MACHINE) {
                Some(why) => Self::gone(Trouble::Refused, format!("{no}: {why}")),
                None => Self::gone(
                    Trouble::Broken,
                    format!(
                        "{no}: it ended while it was being secured ({error}): is this the secured \
                         port, 802 unless the machine says otherwise?"
                    ),
                ),
            },
        }
    }

    /// There is no reply.
    pub(super) fn lapse(peer: &Peer, what: &str, lapse: &Lapse, limit: Duration) -> Self {
        match lapse {
            Lapse::Silent { heard } => {
                let heard = heard.map(|unit| {
                    format!("; unit {unit} answered, is it that one, or slower than its time-out?")
                });
                let why = format!(
                    "{what}: no answer from {peer} within {limit:?}: {}{}",
                    if peer.is_rtu {
                        "is the machine on, is the unit right, do speed and parity agree, are the \
                         two wires the right way round?"
                    } else {
                        "is this the port of a Modbus server, is the unit right, is the machine \
                         overloaded?"
                    },
                    heard.unwrap_or_default(),
                );
                Self::gone(Trouble::TimedOut, why)
            }
            Lapse::Garbled(found) => Self::garbled(peer, what, found),
            Lapse::Broken(error) if peer.is_port => {
                let why = format!(
                    "{what}: the serial port {} is gone ({error}): is its adapter plugged in?",
                    peer.place
                );
                Self::gone(Trouble::Broken, why)
            }
            Lapse::Broken(error) => match in_words(error, MACHINE) {
                Some(why) => Self::gone(Trouble::Refused, format!("{what}: {peer}: {why}")),
                None => {
                    let why = format!(
                        "{what}: {peer} closed the connection ({}): was the machine restarted, \
                         does it serve only so many clients?",
                        reason(error)
                    );
                    Self::gone(Trouble::Broken, why)
                }
            },
        }
    }

    pub(super) fn closed(peer: &Peer, what: &str) -> Self {
        Self::gone(Trouble::Broken, format!("{what}: the connection to {peer} is closed"))
    }

    pub(super) fn garbled(peer: &Peer, what: &str, found: &str) -> Self {
        let check = if peer.is_rtu {
            "do speed and parity agree, is the line terminated, does another program use it, does \
             the adapter hear itself?"
        } else {
            "is this the port of a Modbus server, do two programs share one serial line behind it?"
        };
        Self::gone(Trouble::Garbled, format!("{what}: {peer} gave {found}: {check}"))
    }

    pub(super) fn exception(
        peer: &Peer,
        what: &str,
        code: ExceptionCode,
        role: Option<&str>,
    ) -> Self {
        let busy = matches!(code, ExceptionCode::Acknowledge | ExceptionCode::ServerDeviceBusy);
        let number = u8::from(code);
        let mut why = format!("{what}: {peer} answered exception {number:02X}: {}", meaning(code));
        if let (ExceptionCode::IllegalFunction, Some(role)) = (code, role) {
            why += &format!(", and whether it lets the role {role:?} of our certificate do this");
        }
        Self::Exception { busy, why }
    }
}

fn of_network(error: &io::Error) -> (Trouble, &'static str) {
    match error.kind() {
        io::ErrorKind::ConnectionRefused => (
            Trouble::Refused,
            "is the machine's Modbus server switched on, is the port right, does it already serve \
             as many clients as it can?",
        ),
        io::ErrorKind::TimedOut => (Trouble::TimedOut, "is the machine on?"),
        _ => (Trouble::Broken, "does the host name resolve, is there a route to it?"),
    }
}

fn of_port(error: &io::Error) -> (Trouble, String) {
    let (kind, check) = match error.kind() {
        io::ErrorKind::ResourceBusy => {
            (Trouble::Refused, "another program has it open; end that, or use another port")
        }
        io::ErrorKind::PermissionDenied => (
            Trouble::Refused,
            "the gateway's user may not use it; add that user to the group that owns the port, \
             which is often dialout",
        ),
        io::ErrorKind::Unsupported => (
            Trouble::Refused,
            "it cannot do this speed or frame; choose another, or another adapter",
        ),
        io::ErrorKind::NotFound => {
            (Trouble::Broken, "there is none of this name; is its adapter plugged in?")
        }
        _ => {
            return (Trouble::Broken, format!("{error}; is its adapter plugged in, is it a port?"));
        }
    };
    (kind, check.to_owned())
}

/// Only the kinds that speak of connections are worth repeating.
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
        Peer { place: "h:502".to_owned(), unit: 17, is_rtu: false, is_port: false }
    }

    fn exception(code: u8) -> (bool, String) {
        match Failure::exception(&peer(), "reading", ExceptionCode::new(code), Some("viewer")) {
            Failure::Exception { busy, why } => (busy, why),
            other => panic!("{other:?}"),
        }
    }

    #[test]
    fn only_busy_exceptions_are_busy() {
        let busy: Vec<u8> = (1..=12).filter(|code| exception(*code).0).collect();
        assert_eq!(busy, [5, 6]);
    }

    /// MODBUS Application Protocol V1.1b3, 7: codes 01 to 06, 08, 0A and 0B.
    #[test]
    fn every_exception_says_what_to_check_and_names_the_unit() {
        let mut told: Vec<String> = Vec::new();
        for code in [1, 2, 3, 4, 5, 6, 8, 0x0A, 0x0B] {
            let (_, why) = exception(code);
            assert!(why.contains("unit 17 at h:502"), "{why}");
            assert!(why.contains(&format!("exception {code:02X}")), "{why}");
            assert_eq!(why.contains("viewer"), code == 1, "{why}");
            told.push(why.split(": ").skip(2).collect());
        }
        told.sort();
        told.dedup();
        assert_eq!(told.len(), 9);
    }

    #[test]
    fn a_port_that_cannot_be_opened_says_what_to_do() {
        let told = |error: io::Error| match Failure::no_connection(
            "/dev/a",
            &Opening::Port(error),
            Duration::ZERO,
        ) {
            Failure::Gone { why, .. } => why,
            other => panic!("{other:?}"),
        };
        // Numbers of Linux: no such file, permission denied, busy, no such device, no terminal.
        for (code, word) in [(2, "none of this name"), (13, "dialout"), (16, "another program")] {
            assert!(told(io::Error::from_raw_os_error(code)).contains(word));
        }
        for code in [6, 19, 25] {
            assert!(told(io::Error::from_raw_os_error(code)).contains("plugged in"));
        }
    }
}
