//! A simulated machine: a Modbus TCP server made of the same settings as the link.
//!
//! It frames and answers requests by itself rather than through the library the link uses: that
//! library's server closes the connection on requests that the specification answers with an
//! exception, and one misreading shared by both sides would never show.

mod answer;
mod memory;
mod serve;

use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use async_trait::async_trait;
use stencilward_domain::names::OutputName;
use stencilward_domain::signal::Said;
use tokio::net::TcpListener;
use tokio::sync::{Mutex, watch};
use tokio_util::task::AbortOnDropHandle;

use super::encode::show;
use super::registers::NoRoom;
use super::settings::{BitTable, RegisterTable, Settings};
use super::wiring::{Contact, Wiring};
use crate::simulated::{Answered, CannotSay, Simulated};

use serve::Shared;

/// A machine on a port of its own. Dropped, it closes its port and its connections.
#[derive(Debug)]
pub struct Machine {
    wiring: Arc<Wiring>,
    shared: Arc<Shared>,
    address: SocketAddr,
    open: Mutex<Option<AbortOnDropHandle<()>>>,
}

impl Machine {
    /// Starts a machine at an address of this host; port 0 takes any free one.
    ///
    /// All bits are off, all registers 0, no stroke is being done, and its outputs refuse.
    ///
    /// # Errors
    /// When the address cannot be listened on.
    pub async fn start(settings: Settings, address: SocketAddr) -> io::Result<Self> {
        let wiring = Arc::new(Wiring::of(&settings));
        let shared = Arc::new(Shared::new(settings.unit, &wiring));
        let listener = TcpListener::bind(address).await?;
        let address = listener.local_addr()?;
        let task = tokio::spawn(serve::accept(listener, Arc::clone(&shared)));
        let open = Mutex::new(Some(AbortOnDropHandle::new(task)));
        Ok(Self { wiring, shared, address, open })
    }

    /// Where it listens.
    #[must_use]
    pub fn local_addr(&self) -> SocketAddr {
        self.address
    }

    /// Switches it off: connections end, new ones are refused. What it holds is kept.
    pub async fn close(&self) {
        if let Some(task) = self.open.lock().await.take() {
            task.abort();
            // Cancelled is what it shall be; then the port is free.
            let _ = task.await;
        }
    }

    /// Switches it on again, on the same port.
    ///
    /// # Errors
    /// When another program has taken the port meanwhile.
    pub async fn open(&self) -> io::Result<()> {
        let mut open = self.open.lock().await;
        if open.is_none() {
            let listener = TcpListener::bind(self.address).await?;
            let task = tokio::spawn(serve::accept(listener, Arc::clone(&self.shared)));
            *open = Some(AbortOnDropHandle::new(task));
        }
        Ok(())
    }

    /// Ends all connections; new ones are taken.
    pub fn drop_connections(&self) {
        self.shared.drop_connections();
    }

    /// While true, requests are read and never answered.
    pub fn be_silent(&self, silent: bool) {
        self.shared.manner(|manner| manner.silent = silent);
    }

    /// Answers so much later.
    pub fn be_late(&self, by: Duration) {
        self.shared.manner(|manner| manner.late = by);
    }

    /// While set, every request is answered with this exception code.
    pub fn answer_exception(&self, code: Option<u8>) {
        self.shared.manner(|manner| manner.exception = code);
    }

    /// While true, writes are acknowledged and change nothing.
    pub fn disobey(&self, disobey: bool) {
        self.shared.memory(|memory| memory.disobeys = disobey);
    }

    /// Sets its outputs as a machine does that was without power: coils off, registers 0.
    pub fn forget_outputs(&self) {
        self.shared.memory(memory::Memory::clear_outputs);
    }

    /// Sets registers, making addresses that the settings do not name.
    pub fn set_registers(&self, table: RegisterTable, at: u16, words: &[u16]) {
        self.shared.memory(|memory| memory.bank.set_words(table, at, words));
    }

    /// Sets bits, making addresses that the settings do not name.
    pub fn set_bits(&self, table: BitTable, at: u16, bits: &[bool]) {
        self.shared.memory(|memory| memory.bank.set_bits(table, at, bits));
    }

    /// A register as it is now; none when there is none at this address.
    #[must_use]
    pub fn register(&self, table: RegisterTable, at: u16) -> Option<u16> {
        self.shared.memory(|memory| memory.bank.word(table, at))
    }

    /// A bit as it is now; none when there is none at this address.
    #[must_use]
    pub fn bit(&self, table: BitTable, at: u16) -> Option<bool> {
        self.shared.memory(|memory| memory.bank.bit(table, at))
    }
}

impl Machine {
    /// Closes and opens the contact once for each stroke, each until that was read.
    async fn pulse(&self, contact: Contact, count: u64) {
        for _ in 0..count {
            for level in [contact.level, !contact.level] {
                let mut read = self.shared.memory(|memory| memory.set_contact(contact, level));
                // It cannot end: the memory that tells of reads is this machine's own.
                let _ = read.changed().await;
            }
        }
    }
}

#[async_trait]
impl Simulated for Machine {
    /// The identity is left out: registers have none. A gateway that reads in rounds hears of
    /// what stays until its next round; a contact therefore stays until it was read.
    async fn say(&self, said: &Said, _identity: Option<&str>) -> Result<(), CannotSay> {
        if let (Said::StrokesDone { count }, Some(contact)) = (said, self.wiring.contact) {
            self.pulse(contact, *count).await;
            return Ok(());
        }
        let shown = self.shared.memory(|memory| {
            let mut bank = memory.bank.clone();
            show(&self.wiring, &mut bank, said)?;
            memory.bank = bank;
            Ok::<(), NoRoom>(())
        });
        shown.map_err(|_| CannotSay::NotMapped(said.kind()))
    }

    /// True while the output permits. A heartbeat shows its lowest bit, so it changes with each
    /// beat.
    fn output(&self, name: &OutputName) -> Result<watch::Receiver<bool>, CannotSay> {
        self.shared.watch(name).ok_or(CannotSay::NotMapped("output"))
    }

    async fn answered(&self) -> Option<Answered> {
        None
    }
}
