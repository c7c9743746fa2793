//! One connection and its requests, each with a limit in time and its answer checked.
//!
//! The library underneath sets no time-outs, does not compare the length of an answer with the
//! question, and after a request that was given up takes the late answer for the next one. So
//! here every request is timed, every answer is compared, and after anything but a proper answer
//! or exception the connection is dropped and never used again.

mod failure;

use std::fmt;
use std::future::Future;
use std::panic::AssertUnwindSafe;
use std::time::Duration;

use futures::FutureExt;
use tokio::net::TcpStream;
use tokio::time::timeout;
use tokio_modbus::client::{Client as _, Context, tcp};
use tokio_modbus::{Request, Response, Slave};
use tokio_util::sync::CancellationToken;

use super::bank::Bank;
use super::plan::{Plan, Reach};
use super::settings::{BitTable, RegisterTable, Settings};
use super::wiring::Bit;

pub(crate) use failure::Failure;

/// Longest wait for an answer when the link is ending.
const LAST_WORDS: Duration = Duration::from_millis(500);

/// A connection to a machine.
pub(crate) struct Client {
    /// None once the connection is of no more use.
    context: Option<Context>,
    peer: Peer,
    timeout: Duration,
    stop: CancellationToken,
}

/// Whom the connection is to, for what is said about it.
#[derive(Debug, Clone)]
pub(crate) struct Peer {
    pub(crate) address: String,
    pub(crate) unit: u8,
}

impl fmt::Display for Peer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "unit {} at {}", self.unit, self.address)
    }
}

impl Client {
    /// Connects. Once `stop` is cancelled every request gives [`Failure::Stopped`].
    pub(crate) async fn connect(
        settings: &Settings,
        stop: CancellationToken,
    ) -> Result<Self, Failure> {
        let (address, limit) = (&settings.address, settings.timeout.0);
        let connecting = timeout(limit, TcpStream::connect(address));
        let stream = match stop.run_until_cancelled(connecting).await {
            None => return Err(Failure::Stopped),
            Some(Err(_)) => return Err(Failure::unreachable(address, limit)),
            Some(Ok(Err(error))) => return Err(Failure::no_connection(address, &error)),
            Some(Ok(Ok(stream))) => stream,
        };
        // Without it a short request may wait for the acknowledgement of the one before; a
        // connection that refuses it works all the same.
        let _ = stream.set_nodelay(true);
        Ok(Self {
            context: Some(tcp::attach_slave(stream, Slave(settings.unit))),
            peer: Peer { address: address.clone(), unit: settings.unit },
            timeout: limit,
            stop,
        })
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
        let (request, what) = match table {
            BitTable::Coil => (Request::ReadCoils(at, count), "coils"),
            BitTable::Discrete => (Request::ReadDiscreteInputs(at, count), "discrete inputs"),
        };
        let what = format!("reading {count} {what} from {at}");
        match self.ask(request, &what).await? {
            Response::ReadCoils(mut bits) | Response::ReadDiscreteInputs(mut bits)
                if bits.len() == usize::from(count).next_multiple_of(8) =>
            {
                bits.truncate(usize::from(count));
                Ok(bits)
            }
            other => Err(self.unfitting(&what, &other)),
        }
    }

    async fn read_words(&mut self, reach: Reach<RegisterTable>) -> Result<Vec<u16>, Failure> {
        let Reach { table, at, count } = reach;
        let (request, what) = match table {
            RegisterTable::Input => (Request::ReadInputRegisters(at, count), "input registers"),
            RegisterTable::Holding => {
                (Request::ReadHoldingRegisters(at, count), "holding registers")
            }
        };
        let what = format!("reading {count} {what} from {at}");
        match self.ask(request, &what).await? {
            Response::ReadInputRegisters(words) | Response::ReadHoldingRegisters(words)
                if words.len() == usize::from(count) =>
            {
                Ok(words)
            }
            other => Err(self.unfitting(&what, &other)),
        }
    }

    /// Writes one coil.
    pub(crate) async fn write_coil(&mut self, at: u16, on: bool) -> Result<(), Failure> {
        let what = format!("writing coil {at}");
        match self.ask(Request::WriteSingleCoil(at, on), &what).await? {
            Response::WriteSingleCoil(echoed, state) if (echoed, state) == (at, on) => Ok(()),
            other => Err(self.unfitting(&what, &other)),
        }
    }

    /// Writes one holding register.
    pub(crate) async fn write_register(&mut self, at: u16, word: u16) -> Result<(), Failure> {
        let what = format!("writing holding register {at}");
        match self.ask(Request::WriteSingleRegister(at, word), &what).await? {
            Response::WriteSingleRegister(echoed, value) if (echoed, value) == (at, word) => Ok(()),
            other => Err(self.unfitting(&what, &other)),
        }
    }

    /// Makes one request. The connection is put back only after a proper answer.
    async fn ask(&mut self, request: Request<'static>, what: &str) -> Result<Response, Failure> {
        if self.stop.is_cancelled() {
            return Err(Failure::Stopped);
        }
        let Some(mut context) = self.context.take() else {
            return Err(Failure::closed(&self.peer, what));
        };
        let answer = timeout(self.timeout, caught(context.call(request))).await;
        let (outcome, usable) = match answer {
            Err(_) => (Err(Failure::no_answer(&self.peer, what, self.timeout)), false),
            Ok(None) => (Err(Failure::garbled(&self.peer, what, "a malformed answer")), false),
            Ok(Some(Err(error))) => (Err(Failure::call(&self.peer, what, &error)), false),
            Ok(Some(Ok(Err(code)))) => (Err(Failure::exception(&self.peer, what, code)), true),
            Ok(Some(Ok(Ok(response)))) => (Ok(response), true),
        };
        self.context = usable.then_some(context);
        outcome
    }

    /// An answer that is well-formed but not one to the question.
    fn unfitting(&mut self, what: &str, response: &Response) -> Failure {
        self.context = None;
        Failure::garbled(&self.peer, what, &format!("an answer that does not fit: {response:?}"))
    }
}

/// The outcome of a future, or none when it panicked. The library asserts in its reply path in
/// debug builds; no bytes from a machine may end the task that polls it.
async fn caught<T>(future: impl Future<Output = T>) -> Option<T> {
    AssertUnwindSafe(future).catch_unwind().await.ok()
}

#[cfg(test)]
mod tests;
