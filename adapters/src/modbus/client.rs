//! One machine's questions on its line, each with a limit in time and its answer checked.
//!
//! After anything but a proper answer or exception the client asks nothing more until
//! it begins anew.

mod failure;
mod identify;

use std::fmt;
use std::sync::Arc;
use std::time::Duration;

use tokio::time::sleep_until;
use tokio_modbus::{ExceptionCode, Request};
use tokio_util::sync::CancellationToken;

use super::bank::Bank;
use super::line::{Line, Reply, Try, Turn, Way};
use super::plan::{Plan, Reach};
use super::settings::{BitTable, RegisterTable};
use super::wiring::Bit;

pub(crate) use failure::Failure;

/// Longest wait for an answer when the link is ending.
const LAST_WORDS: Duration = Duration::from_millis(500);

/// One machine as it is asked over its line.
pub(crate) struct Client {
    line: Arc<Line>,
    turn: Option<Turn>,
    peer: Peer,
    timeout: Duration,
    stop: CancellationToken,
    /// It answered the last time. One that did not is tried with care for the others.
    answers: bool,
    /// It failed, and must begin anew.
    failed: bool,
}

/// Whom the questions are to, for what is said about it.
#[derive(Debug, Clone)]
pub(crate) struct Peer {
    pub(crate) place: String,
    pub(crate) unit: u8,
    pub(crate) is_rtu: bool,
    pub(crate) is_port: bool,
}

impl fmt::Display for Peer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "unit {} at {}", self.unit, self.place)
    }
}

impl Client {
    /// A client that has asked nothing yet. Once `stop` is cancelled every request gives
    /// [`Failure::Stopped`].
    pub(crate) fn new(
        line: Arc<Line>,
        unit: u8,
        timeout: Duration,
        stop: CancellationToken,
    ) -> Self {
        let peer = line.peer(unit);
        Self { line, turn: None, peer, timeout, stop, answers: false, failed: false }
    }

    /// Begins anew after a failure. The line is opened by the first question.
    pub(crate) fn begin(&mut self) {
        self.failed = false;
    }

    /// Lets others have the line, where there are any.
    pub(crate) fn rest(&mut self) {
        if self.line.is_shared() {
            self.turn = None;
        }
    }

    /// True when the machine answered the last time.
    pub(crate) fn answers(&self) -> bool {
        self.answers
    }

    /// From here on requests are made although the link is ending, with a short limit.
    pub(crate) fn say_last_words(&mut self) {
        self.stop = CancellationToken::new();
        self.timeout = self.timeout.min(LAST_WORDS);
    }

    /// Everything a plan names. All of it or nothing.
    pub(crate) async fn read(&mut self, plan: &Plan) -> Result<Bank, Failure> {
        let mut bank = Bank::default();
        for reach in &plan.bits {
            let bits = self.read_bits(*reach).await?;
            bank.set_bits(reach.table, reach.at, &bits);
        }
        for reach in &plan.words {
            let words = self.read_words(*reach).await?;
            bank.set_words(reach.table, reach.at, &words);
        }
        Ok(bank)
    }

    /// One bit.
    pub(crate) async fn read_bit(&mut self, bit: Bit) -> Result<bool, Failure> {
        let reach = Reach { table: bit.table, at: bit.at, count: 1 };
        let bits = self.read_bits(reach).await?;
        Ok(bits.first().copied().unwrap_or_default())
    }

    async fn read_bits(&mut self, reach: Reach<BitTable>) -> Result<Vec<bool>, Failure> {
        let Reach { table, at, count } = reach;
        let request = match table {
            BitTable::Coil => Request::ReadCoils(at, count),
            BitTable::Discrete => Request::ReadDiscreteInputs(at, count),
        };
        let pdu = self.ask(&request).await?;
        let Some(bytes) = values(&pdu, usize::from(count).div_ceil(8)) else {
            return Err(self.unfitting(&request, &pdu));
        };
        let bits = bytes.iter().flat_map(|byte| (0..8).map(move |bit| byte >> bit & 1 == 1));
        Ok(bits.take(count.into()).collect())
    }

    async fn read_words(&mut self, reach: Reach<RegisterTable>) -> Result<Vec<u16>, Failure> {
        let Reach { table, at, count } = reach;
        let request = match table {
            RegisterTable::Input => Request::ReadInputRegisters(at, count),
            RegisterTable::Holding => Request::ReadHoldingRegisters(at, count),
        };
        let pdu = self.ask(&request).await?;
        let Some(bytes) = values(&pdu, usize::from(count) * 2) else {
            return Err(self.unfitting(&request, &pdu));
        };
        let (words, _) = bytes.as_chunks();
        Ok(words.iter().copied().map(u16::from_be_bytes).collect())
    }

    /// Writes one coil.
    pub(crate) async fn write_coil(&mut self, at: u16, on: bool) -> Result<(), Failure> {
        let value = if on { 0xFF00 } else { 0 };
        self.write(&Request::WriteSingleCoil(at, on), at, value).await
    }

    /// Writes one holding register.
    pub(crate) async fn write_register(&mut self, at: u16, word: u16) -> Result<(), Failure> {
        self.write(&Request::WriteSingleRegister(at, word), at, word).await
    }

    /// Makes a request whose answer repeats the place and the value.
    async fn write(
        &mut self,
        request: &Request<'static>,
        at: u16,
        value: u16,
    ) -> Result<(), Failure> {
        let pdu = self.ask(request).await?;
        let ([a, b], [c, d]) = (at.to_be_bytes(), value.to_be_bytes());
        if pdu.get(1..) == Some(&[a, b, c, d]) {
            return Ok(());
        }
        Err(self.unfitting(request, &pdu))
    }

    /// Makes one request, when it is this machine's turn. Gives the function and what follows it.
    async fn ask(&mut self, request: &Request<'static>) -> Result<Vec<u8>, Failure> {
        if self.failed {
            return Err(Failure::closed(&self.peer, &in_words(request)));
        }
        if self.stop.is_cancelled() {
            self.rest();
            return Err(Failure::Stopped);
        }
        let line = Arc::clone(&self.line);
        let (first, tried) = if self.is_up(&line, request) {
            (None, None)
        } else {
            let stop = self.stop.clone();
            let coming = self.come_up(&line, request);
            let Some(come) = stop.run_until_cancelled(coming).await else {
                self.rest();
                return Err(Failure::Stopped);
            };
            come
        };
        let outcome = self.converse(first, request, tried).await;
        self.failed = matches!(outcome, Err(Failure::Gone { .. } | Failure::Stopped));
        if self.failed {
            self.rest();
        }
        outcome
    }

    /// True when it may ask at once, as it may most of the time.
    fn is_up(&mut self, line: &Line, request: &Request<'static>) -> bool {
        if !self.answers || self.turn.as_ref().is_some_and(Turn::is_long) {
            return false;
        }
        if self.turn.is_none() {
            self.turn = line.turn_at_once();
        }
        self.turn.is_some() && line.way(self.peer.unit, request) == Way::Ask
    }

    /// Waits for the right to ask, and says what must be asked first.
    async fn come_up<'l>(
        &mut self,
        line: &'l Line,
        request: &Request<'static>,
    ) -> (Option<Request<'static>>, Option<Try<'l>>) {
        if self.turn.as_ref().is_some_and(Turn::is_long) || !self.answers {
            self.rest();
        }
        let mut tried = None;
        loop {
            let first = match line.way(self.peer.unit, request) {
                Way::Ask => None,
                Way::First(other) => Some(other),
                Way::Wait(until) => {
                    self.rest();
                    sleep_until(until.into()).await;
                    continue;
                }
            };
            if self.turn.is_some() {
                return (first, tried);
            }
            if !self.answers && tried.is_none() {
                tried = line.try_silent().await;
            }
            // What is owed may have changed while others had the line.
            self.turn = Some(line.turn().await);
        }
    }

    async fn converse(
        &mut self,
        first: Option<Request<'static>>,
        request: &Request<'static>,
        mut tried: Option<Try<'_>>,
    ) -> Result<Vec<u8>, Failure> {
        let (peer, limit) = (&self.peer, self.timeout);
        let closed = || Failure::closed(peer, &in_words(request));
        let Some(turn) = &mut self.turn else { return Err(closed()) };
        let wire = &mut turn.wire;
        self.answers = false;
        if !wire.is_open() {
            // It is large, and rarely done.
            let opening = Box::pin(wire.open(limit));
            let opened = self.stop.run_until_cancelled(opening).await;
            opened
                .ok_or(Failure::Stopped)?
                .map_err(|opening| Failure::no_connection(&peer.place, &opening, limit))?;
        }
        if let Some(tried) = &mut tried {
            tried.begin();
        }
        let mut reply = None;
        for question in first.iter().chain([request]) {
            self.line.asked(peer.unit, question, limit);
            let asked = wire.ask(peer.unit, question, limit).await;
            let lapsed = |lapse| Failure::lapse(peer, &in_words(request), &lapse, limit);
            reply = Some(asked.map_err(lapsed)?);
            self.line.answered(peer.unit);
        }
        match reply {
            Some(Reply::Answer(pdu)) => {
                self.answers = true;
                Ok(pdu)
            }
            Some(Reply::Exception(code)) => {
                self.answers = !is_bridges(code);
                Err(Failure::exception(peer, &in_words(request), code, wire.role()))
            }
            None => Err(closed()),
        }
    }

    /// An answer that is well-formed but not one to the question. Nobody can tell what else comes
    /// on this connection.
    fn unfitting(&mut self, request: &Request<'static>, pdu: &[u8]) -> Failure {
        if let Some(turn) = &mut self.turn {
            turn.wire.close();
        }
        self.rest();
        (self.failed, self.answers) = (true, false);
        let found = format!("an answer that does not fit: {pdu:02x?}");
        Failure::garbled(&self.peer, &in_words(request), &found)
    }
}

/// The values of a read's answer, when there are so many bytes of them (MODBUS Application Protocol
/// V1.1b3, 6.1 to 6.4).
fn values(pdu: &[u8], length: usize) -> Option<&[u8]> {
    let [_function, count, values @ ..] = pdu else { return None };
    (values.len() == length && usize::from(*count) == length).then_some(values)
}

/// What a request does.
fn in_words(request: &Request<'static>) -> String {
    match request {
        Request::ReadCoils(at, count) => format!("reading {count} coils from {at}"),
        Request::ReadDiscreteInputs(at, count) => {
            format!("reading {count} discrete inputs from {at}")
        }
        Request::ReadInputRegisters(at, count) => {
            format!("reading {count} input registers from {at}")
        }
        Request::ReadHoldingRegisters(at, count) => {
            format!("reading {count} holding registers from {at}")
        }
        Request::WriteSingleCoil(at, _) => format!("writing coil {at}"),
        Request::WriteSingleRegister(at, _) => format!("writing holding register {at}"),
        Request::ReadDeviceIdentification(..) => "reading the device identification".to_owned(),
        other => format!("asking {other:?}"),
    }
}

/// True for what a converter says of a machine that does not answer it.
fn is_bridges(code: ExceptionCode) -> bool {
    matches!(code, ExceptionCode::GatewayPathUnavailable | ExceptionCode::GatewayTargetDevice)
}

#[cfg(test)]
mod tests;
