//! What carries questions and answers: opened when it is needed, dropped when it is of no use.

use std::future::Future;
use std::io;
use std::panic::AssertUnwindSafe;
use std::time::Duration;

use bytes::Bytes;
use futures::FutureExt;
use tokio::net::TcpStream;
use tokio::time::timeout;
use tokio_modbus::client::{Client as _, Context, tcp};
use tokio_modbus::slave::SlaveContext as _;
use tokio_modbus::{Error, ExceptionCode, Request, Response, Slave};

use crate::modbus::rtu::{self, Master, Pace, Question};
use crate::modbus::serial::Port;
use crate::modbus::settings::{Endpoint, Framing, Tls};
use crate::modbus::tls;

/// Questions in a row without a proper answer after which a line is opened anew.
const PATIENCE: u32 = 3;

/// A connection or a port, while there is one.
pub(crate) struct Wire {
    endpoint: Endpoint,
    open: Option<Transport>,
    /// Questions in a row without a proper answer.
    unanswered: u32,
    /// The role in our certificate.
    role: Option<String>,
}

enum Transport {
    /// An answer bears the number of its question.
    Numbered(Context),
    Rtu(Master),
}

/// What a machine answers.
#[derive(Debug)]
pub(crate) enum Reply {
    Answer(Response),
    Exception(ExceptionCode),
}

/// Why there is no connection.
#[derive(Debug)]
pub(crate) enum Opening {
    /// Nothing came back in time.
    Late,
    Network(io::Error),
    Port(io::Error),
    Secure(tls::Fault),
}

/// Why there is no reply.
#[derive(Debug)]
pub(crate) enum Lapse {
    /// Nothing came in time, except from this unit.
    Silent { heard: Option<u8> },
    /// What came is no answer to the question.
    Garbled(String),
    /// The other side, or the system, ended the connection.
    Broken(io::Error),
}

impl Wire {
    pub(super) fn new(endpoint: Endpoint) -> Self {
        Self { endpoint, open: None, unanswered: 0, role: None }
    }

    pub(crate) fn is_open(&self) -> bool {
        self.open.is_some()
    }

    /// Ends the connection.
    pub(crate) fn close(&mut self) {
        self.open = None;
    }

    /// The role in the certificate that we showed.
    pub(crate) fn role(&self) -> Option<&str> {
        self.role.as_deref()
    }

    /// Opens it, within a limit of time.
    pub(crate) async fn open(&mut self, limit: Duration) -> Result<(), Opening> {
        let opening = async {
            match &self.endpoint {
                Endpoint::Serial { serial, quiet } => {
                    let port = Port::open(serial).map_err(Opening::Port)?;
                    let quiet = quiet.map(|span| span.0).unwrap_or_default();
                    let master = Master::new(Box::new(port), Pace::of(serial, quiet));
                    Ok((Transport::Rtu(master), None))
                }
                Endpoint::Network { address, framing, tls, quiet } => {
                    let stream = TcpStream::connect(address).await.map_err(Opening::Network)?;
                    // Without it a short request may wait for the acknowledgement of the one
                    // before; a connection that refuses it works all the same.
                    let _ = stream.set_nodelay(true);
                    match (tls, framing) {
                        (Some(tls), _) => secured(stream, address, tls).await,
                        (None, Framing::Tcp) => Ok((numbered(stream), None)),
                        (None, Framing::Rtu) => {
                            let pace = Pace::behind_converter(quiet.map(|span| span.0));
                            Ok((Transport::Rtu(Master::new(Box::new(stream), pace)), None))
                        }
                    }
                }
            }
        };
        let (transport, role) = timeout(limit, opening).await.unwrap_or(Err(Opening::Late))?;
        (self.open, self.role, self.unanswered) = (Some(transport), role, 0);
        Ok(())
    }

    /// Asks a unit one question. Given up before it is answered, or badly answered, it leaves
    /// nothing behind that a late answer could reach: the connection is closed, or the line falls
    /// silent before anybody asks again.
    pub(crate) async fn ask(
        &mut self,
        unit: u8,
        request: Request<'static>,
        limit: Duration,
    ) -> Result<Reply, Lapse> {
        match self.open.take() {
            None => Err(Lapse::Broken(io::ErrorKind::NotConnected.into())),
            Some(Transport::Numbered(context)) => self.call(context, unit, request, limit).await,
            Some(Transport::Rtu(master)) => self.send(master, unit, &request, limit).await,
        }
    }

    async fn call(
        &mut self,
        mut context: Context,
        unit: u8,
        request: Request<'static>,
        limit: Duration,
    ) -> Result<Reply, Lapse> {
        context.set_slave(Slave(unit));
        let reply = match timeout(limit, caught(context.call(request))).await {
            Err(_) => return Err(Lapse::Silent { heard: None }),
            Ok(None) => return Err(Lapse::Garbled("a malformed answer".to_owned())),
            Ok(Some(Err(error))) => return Err(of_library(error, self.endpoint.is_secured())),
            Ok(Some(Ok(Err(code)))) => Reply::Exception(code),
            Ok(Some(Ok(Ok(response)))) => Reply::Answer(response),
        };
        self.open = Some(Transport::Numbered(context));
        Ok(reply)
    }

    async fn send(
        &mut self,
        mut master: Master,
        unit: u8,
        request: &Request<'static>,
        limit: Duration,
    ) -> Result<Reply, Lapse> {
        let Some(question) = Question::new(unit, request) else {
            return Err(Lapse::Broken(io::ErrorKind::Unsupported.into()));
        };
        let outcome = match master.ask(&question, limit).await {
            Ok(answer) => read(answer),
            Err(rtu::Lapse::Broken(error)) => return Err(Lapse::Broken(error)),
            Err(rtu::Lapse::Silent { heard }) => Err(Lapse::Silent { heard }),
            Err(rtu::Lapse::Garbled(what)) => Err(Lapse::Garbled(what)),
        };
        self.unanswered = if outcome.is_ok() { 0 } else { self.unanswered + 1 };
        if self.unanswered < PATIENCE {
            self.open = Some(Transport::Rtu(master));
        }
        outcome
    }
}

fn numbered<S: rtu::Stream + 'static>(stream: S) -> Transport {
    Transport::Numbered(tcp::attach(stream))
}

async fn secured(
    stream: TcpStream,
    address: &str,
    tls: &Tls,
) -> Result<(Transport, Option<String>), Opening> {
    let host = address.rsplit_once(':').map_or(address, |(host, _)| host);
    let host = host.trim_start_matches('[').trim_end_matches(']');
    let secured = tls::secure(stream, host, tls).await.map_err(Opening::Secure)?;
    let version = secured.stream.get_ref().1.protocol_version();
    let (theirs, ours) = (&secured.theirs, &secured.ours);
    tracing::info!(address, ?version, ?theirs, ?ours, "secured connection, with the roles of both");
    Ok((numbered(secured.stream), secured.ours))
}

/// What stands in an answer whose frame is in order.
fn read(answer: Vec<u8>) -> Result<Reply, Lapse> {
    match answer[..] {
        [0x80..=0xFF, code] => Ok(Reply::Exception(ExceptionCode::new(code))),
        _ => match Response::try_from(Bytes::from(answer)) {
            Ok(response) => Ok(Reply::Answer(response)),
            Err(error) => Err(Lapse::Garbled(format!("a malformed answer ({error})"))),
        },
    }
}

fn of_library(error: Error, secured: bool) -> Lapse {
    match error {
        Error::Protocol(error) => {
            Lapse::Garbled(format!("an answer to another question ({error})"))
        }
        Error::Transport(error) if is_garbled(&error, secured) => {
            Lapse::Garbled(format!("what is no Modbus answer ({error})"))
        }
        Error::Transport(error) => Lapse::Broken(error),
    }
}

/// True for an error of the library's own making, not of the operating system or TLS: it could
/// not make sense of the bytes. With TLS an early end may also be the connection's.
fn is_garbled(error: &io::Error, secured: bool) -> bool {
    let own = error.raw_os_error().is_none() && !crate::tls::is_about(error);
    match error.kind() {
        io::ErrorKind::InvalidData | io::ErrorKind::InvalidInput => own,
        io::ErrorKind::UnexpectedEof => own && !secured,
        _ => false,
    }
}

/// The outcome of a future, or none when it panicked. The library asserts in its reply path in
/// debug builds; no bytes from a machine may end the task that polls it.
async fn caught<T>(future: impl Future<Output = T>) -> Option<T> {
    AssertUnwindSafe(future).catch_unwind().await.ok()
}

#[cfg(test)]
mod tests {
    use super::*;

    fn is_broken(error: io::Error) -> bool {
        matches!(of_library(Error::Transport(error), false), Lapse::Broken(_))
    }

    #[test]
    fn whatever_the_system_said_last_a_closed_connection_is_broken() {
        for code in [0, 11, 22, 104, 111, 115] {
            assert!(is_broken(io::Error::from_raw_os_error(code)), "{code}");
        }
        assert!(is_broken(io::Error::other("bytes remaining on stream")));
        for garbled in [io::ErrorKind::InvalidData, io::ErrorKind::UnexpectedEof] {
            assert!(!is_broken(io::Error::new(garbled, "x")));
        }
    }
}
