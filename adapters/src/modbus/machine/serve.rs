//! Connections to a simulated machine, and how it behaves on them.

use std::collections::BTreeMap;
use std::io;
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::time::Duration;

use stencilward_domain::names::OutputName;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::net::{TcpListener, TcpStream};
use tokio::sync::watch;
use tokio::task::JoinSet;
use tokio_util::sync::CancellationToken;

use super::answer::{TARGET_SILENT, answer, exception};
use super::memory::Memory;
use crate::modbus::wiring::Wiring;

/// Bytes of the transport's header: transaction, protocol, length, unit.
const HEADER: usize = 7;
/// Longest request without that header.
const LONGEST_REQUEST: usize = 253;
/// Wait after a connection could not be taken.
const RESPITE: Duration = Duration::from_millis(50);

/// How the machine behaves, for tests.
#[derive(Debug, Clone, Copy, Default)]
pub(super) struct Manner {
    pub(super) silent: bool,
    pub(super) late: Duration,
    pub(super) exception: Option<u8>,
}

/// What all connections share.
#[derive(Debug)]
pub(super) struct Shared {
    unit: u8,
    memory: Mutex<Memory>,
    manner: Mutex<Manner>,
    connections: Mutex<CancellationToken>,
    outputs: BTreeMap<OutputName, (usize, watch::Sender<bool>)>,
}

impl Shared {
    pub(super) fn new(unit: u8, wiring: &Arc<Wiring>) -> Self {
        let permits = wiring.permits.iter().map(|lock| &lock.name);
        let names = permits.chain(wiring.beats.iter().map(|beat| &beat.name));
        let watched = |(index, name): (usize, &OutputName)| {
            (name.clone(), (index, watch::Sender::new(false)))
        };
        Self {
            unit,
            memory: Mutex::new(Memory::new(Arc::clone(wiring))),
            manner: Mutex::default(),
            connections: Mutex::default(),
            outputs: names.enumerate().map(watched).collect(),
        }
    }

    /// Works on the memory, then shows what became of the outputs.
    pub(super) fn memory<T>(&self, work: impl FnOnce(&mut Memory) -> T) -> T {
        let mut memory = lock(&self.memory);
        let result = work(&mut memory);
        let states = memory.outputs();
        for (index, watched) in self.outputs.values() {
            let state = states.get(*index).copied().unwrap_or_default();
            watched.send_if_modified(|shown| std::mem::replace(shown, state) != state);
        }
        result
    }

    pub(super) fn manner(&self, change: impl FnOnce(&mut Manner)) {
        change(&mut lock(&self.manner));
    }

    pub(super) fn watch(&self, name: &OutputName) -> Option<watch::Receiver<bool>> {
        Some(self.outputs.get(name)?.1.subscribe())
    }

    pub(super) fn drop_connections(&self) {
        std::mem::take(&mut *lock(&self.connections)).cancel();
    }

    fn respond(&self, unit: u8, request: &[u8]) -> Vec<u8> {
        let function = request.first().copied().unwrap_or_default();
        let refused = lock(&self.manner).exception;
        match refused.or((unit != self.unit).then_some(TARGET_SILENT)) {
            Some(code) => exception(function, code),
            None => self.memory(|memory| answer(memory, request)),
        }
    }
}

/// The lock is taken for a moment and holds plain values: one that was poisoned is still good.
fn lock<T>(mutex: &Mutex<T>) -> MutexGuard<'_, T> {
    mutex.lock().unwrap_or_else(PoisonError::into_inner)
}

/// Takes connections for ever. They end when this is dropped.
pub(super) async fn accept(listener: TcpListener, shared: Arc<Shared>) {
    let mut connections = JoinSet::new();
    loop {
        tokio::select! {
            accepted = listener.accept() => match accepted {
                Ok((stream, _)) => {
                    let ended = lock(&shared.connections).clone();
                    let shared = Arc::clone(&shared);
                    connections.spawn(async move {
                        ended.run_until_cancelled(serve(stream, shared)).await
                    });
                }
                Err(_) => tokio::time::sleep(RESPITE).await,
            },
            Some(_) = connections.join_next() => {}
        }
    }
}

/// Answers requests until the peer leaves or sends what is no request.
async fn serve(mut stream: TcpStream, shared: Arc<Shared>) -> io::Result<()> {
    stream.set_nodelay(true)?;
    loop {
        let mut header = [0; HEADER];
        stream.read_exact(&mut header).await?;
        let [transaction, number, 0, 0, high, low, unit] = header else {
            return Ok(());
        };
        // The length counts the unit, which is part of the header here.
        let length = usize::from(u16::from_be_bytes([high, low])).saturating_sub(1);
        if !(1..=LONGEST_REQUEST).contains(&length) {
            return Ok(());
        }
        let mut request = vec![0; length];
        stream.read_exact(&mut request).await?;
        let manner = *lock(&shared.manner);
        if manner.silent {
            continue;
        }
        tokio::time::sleep(manner.late).await;
        let response = shared.respond(unit, &request);
        let [high, low] = (response.len() as u16 + 1).to_be_bytes();
        let mut frame = vec![transaction, number, 0, 0, high, low, unit];
        frame.extend(response);
        stream.write_all(&frame).await?;
    }
}
