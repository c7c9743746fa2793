//! What carries questions and answers: opened when it is needed, dropped when it is of no use.

use std::io;
use std::time::Duration;

use tokio::net::TcpStream;
use tokio::time::timeout;
use tokio_modbus::{ExceptionCode, Request};

use super::numbered::Numbered;
use crate::modbus::rtu::{Lapse, Master, Pace, Question, Stream};
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
    Numbered(Numbered),
    Rtu(Master),
}

/// What a machine answers.
#[derive(Debug)]
pub(crate) enum Reply {
    /// The function, and what follows it.
    Answer(Vec<u8>),
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
        request: &Request<'static>,
        limit: Duration,
    ) -> Result<Reply, Lapse> {
        let Some(question) = Question::new(unit, request) else {
            return Err(Lapse::Broken(io::ErrorKind::Unsupported.into()));
        };
        // Taken, so that it is gone when this is given up half way.
        match self.open.take() {
            None => Err(Lapse::Broken(io::ErrorKind::NotConnected.into())),
            Some(Transport::Numbered(mut connection)) => {
                let reply = reply(connection.ask(&question, limit).await?);
                self.open = Some(Transport::Numbered(connection));
                Ok(reply)
            }
            Some(Transport::Rtu(master)) => self.send(master, &question, limit).await,
        }
    }

    async fn send(
        &mut self,
        mut master: Master,
        question: &Question,
        limit: Duration,
    ) -> Result<Reply, Lapse> {
        let outcome = master.ask(question, limit).await.map(reply);
        self.unanswered = if outcome.is_ok() { 0 } else { self.unanswered + 1 };
        if self.unanswered < PATIENCE && !matches!(outcome, Err(Lapse::Broken(_))) {
            self.open = Some(Transport::Rtu(master));
        }
        outcome
    }
}

fn numbered(stream: impl Stream + 'static) -> Transport {
    Transport::Numbered(Numbered::new(Box::new(stream)))
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

/// What an answer is that was found in order.
fn reply(answer: Vec<u8>) -> Reply {
    match answer[..] {
        [0x80..=0xFF, code] => Reply::Exception(ExceptionCode::new(code)),
        _ => Reply::Answer(answer),
    }
}
