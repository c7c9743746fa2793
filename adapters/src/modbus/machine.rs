//! A simulated machine: a Modbus server made of the same settings as the link.
//!
//! It frames and answers requests by itself rather than through the library the link uses: that
//! library's server closes the connection on requests that the specification answers with an
//! exception, and one misreading shared by both sides would never show.

mod answer;
mod door;
mod memory;
mod secure;
mod serve;
mod unit;
mod wired;

use std::fmt;
use std::io;
use std::net::SocketAddr;
use std::sync::Arc;
use std::time::Duration;

use async_trait::async_trait;
use stencilward_domain::names::OutputName;
use stencilward_domain::signal::Said;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio::sync::watch;

use super::encode::{move_life_sign, show, take_question_back};
use super::registers::NoRoom;
use super::rtu::Pace;
use super::settings::{BitTable, RegisterTable, Settings, Tls};
use super::wiring::{Contact, Wiring};
use crate::simulated::{Answered, CannotFail, CannotSay, Fault, Simulated, Wired};

use door::Door;
use unit::Unit;

/// A machine behind a port, alone or with others on the same line. Once all of them are dropped
/// the port and its connections are closed.
pub struct Machine {
    wiring: Arc<Wiring>,
    wired: Wired,
    unit: Arc<Unit>,
    door: Arc<Door>,
}

impl fmt::Debug for Machine {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Machine").field("unit", &self.unit).finish_non_exhaustive()
    }
}

impl Machine {
    /// Starts a machine at an address of this host, framed as its settings say; port 0 takes any
    /// free one.
    ///
    /// All bits are off, all registers 0, no stroke is being done, and its outputs refuse.
    ///
    /// # Errors
    /// When the address cannot be listened on.
    pub async fn start(settings: Settings, address: SocketAddr) -> io::Result<Self> {
        let door = Door::network(address, settings.framing, None).await?;
        Ok(Self::behind(Arc::new(door), &settings))
    }

    /// Starts a machine that takes secured connections only: `own` names its certificate and key,
    /// and who vouches for those it lets in.
    ///
    /// # Errors
    /// When the address cannot be listened on, or a file is missing or wrong.
    pub async fn start_secured(
        settings: Settings,
        address: SocketAddr,
        own: Tls,
    ) -> io::Result<Self> {
        let door = Door::network(address, settings.framing, Some(secure::acceptor(&own)?)).await?;
        Ok(Self::behind(Arc::new(door), &settings))
    }

    /// Puts a machine at the end of a serial line, such as a [`Pty`](super::Pty). Where its
    /// settings name a serial port, characters take the time they take at its speed, and requests
    /// that come before the line was silent for long enough are not heard.
    #[must_use]
    pub fn on_line<S>(settings: &Settings, end: S) -> Self
    where
        S: AsyncRead + AsyncWrite + fmt::Debug + Send + Unpin + 'static,
    {
        let pace = settings.serial.as_ref().map(|serial| Pace::of(serial, Duration::ZERO));
        Self::behind(Arc::new(Door::line(Box::new(end), pace)), settings)
    }

    /// Another machine on the same line, or behind the same port.
    #[must_use]
    pub fn beside(&self, settings: &Settings) -> Self {
        Self::behind(Arc::clone(&self.door), settings)
    }

    fn behind(door: Arc<Door>, settings: &Settings) -> Self {
        let wiring = Arc::new(Wiring::of(settings));
        let unit = Arc::new(Unit::new(settings.unit, &wiring));
        door.units.add(&unit);
        let wired = wired::wired(settings, &wiring);
        Self { wiring, wired, unit, door }
    }

    /// Where it listens; 0.0.0.0:0 of a machine on a serial line, which has no address.
    #[must_use]
    pub fn local_addr(&self) -> SocketAddr {
        self.door.address.unwrap_or_else(|| SocketAddr::from(([0; 4], 0)))
    }

    /// Switches it off, and all behind its port: connections end, new ones are refused, and on a
    /// line nobody answers. What they hold is kept.
    pub async fn close(&self) {
        self.door.close().await;
    }

    /// Switches them on again, on the same port.
    ///
    /// # Errors
    /// When another program has taken the port meanwhile.
    pub async fn open(&self) -> io::Result<()> {
        self.door.open().await
    }

    /// How many requests came before the line was silent for long enough.
    #[must_use]
    pub fn hasty_requests(&self) -> u64 {
        self.door.units.hasty()
    }

    /// While set, it serves only those whose certificate bears this role.
    pub fn serve_only(&self, role: Option<&str>) {
        self.unit.manner(|manner| manner.only_role = role.map(str::to_owned));
    }

    /// Ends all connections; new ones are taken.
    pub fn drop_connections(&self) {
        self.door.drop_connections();
    }

    /// True when other machines are behind the same port or on the same line.
    fn is_shared(&self) -> bool {
        Arc::strong_count(&self.door) > 1
    }

    /// Shows that it is alive: the number of its life sign becomes another one.
    pub fn move_life_sign(&self) {
        self.unit.memory(|memory| move_life_sign(&self.wiring, &mut memory.bank));
    }

    /// Half of the time that its life sign may stand still; none when it has none.
    #[must_use]
    pub fn life_sign_within(&self) -> Option<Duration> {
        self.wiring.life.map(|life| life.within / 2)
    }

    /// While true, requests are read and never answered.
    pub fn be_silent(&self, silent: bool) {
        self.unit.manner(|manner| manner.silent = silent);
    }

    fn be_without_power(&self, off: bool) {
        self.unit.manner(|manner| manner.off = off);
    }

    /// Answers so much later.
    pub fn be_late(&self, by: Duration) {
        self.unit.manner(|manner| manner.late = by);
    }

    /// While set, every request is answered with this exception code.
    pub fn answer_exception(&self, code: Option<u8>) {
        self.unit.manner(|manner| manner.exception = code);
    }

    /// While true, writes are acknowledged and change nothing.
    pub fn disobey(&self, disobey: bool) {
        self.unit.memory(|memory| memory.disobeys = disobey);
    }

    /// Makes it say what it is: each object of MODBUS Application Protocol V1.1b3, 6.21, by its
    /// number: 0 its maker, 1 its product code, 2 its revision.
    pub fn identify(&self, objects: &[(u8, &str)]) {
        let objects = objects.iter().map(|(number, text)| (*number, (*text).to_owned()));
        self.unit.memory(|memory| memory.identity = objects.collect());
    }

    /// Sets its outputs as a machine does that was without power: coils off, registers 0.
    pub fn forget_outputs(&self) {
        self.unit.memory(memory::Memory::clear_outputs);
    }

    /// Sets registers, making addresses that the settings do not name.
    pub fn set_registers(&self, table: RegisterTable, at: u16, words: &[u16]) {
        self.unit.memory(|memory| memory.bank.set_words(table, at, words));
    }

    /// Sets bits, making addresses that the settings do not name.
    pub fn set_bits(&self, table: BitTable, at: u16, bits: &[bool]) {
        self.unit.memory(|memory| memory.bank.set_bits(table, at, bits));
    }

    /// A register as it is now; none when there is none at this address.
    #[must_use]
    pub fn register(&self, table: RegisterTable, at: u16) -> Option<u16> {
        self.unit.memory(|memory| memory.bank.word(table, at))
    }

    /// A bit as it is now; none when there is none at this address.
    #[must_use]
    pub fn bit(&self, table: BitTable, at: u16) -> Option<bool> {
        self.unit.memory(|memory| memory.bank.bit(table, at))
    }
}

impl Machine {
    /// Gives the contact its level and takes it away, as often, each until that was read.
    async fn pulse(&self, contact: Contact, count: u64) {
        for _ in 0..count {
            for level in [true, false] {
                let mut read = self.unit.memory(|memory| memory.set_contact(contact, level));
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
        if let Some((contact, count)) = self.wiring.pulses(said) {
            self.pulse(contact, count).await;
            return Ok(());
        }
        if matches!(said, Said::StoreAsked { .. } | Said::TakeAsked { .. })
            && self.unit.memory(|memory| take_question_back(&self.wiring, &mut memory.bank))
        {
            // The same question is a new one only when nothing was asked in between.
            tokio::time::sleep(self.wired.read_within.unwrap_or_default()).await;
        }
        let shown = self.unit.memory(|memory| {
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
        self.unit.watch(name).ok_or(CannotSay::NotMapped("output"))
    }

    async fn answered(&self) -> Option<Answered> {
        None
    }

    fn wired(&self) -> Wired {
        self.wired.clone()
    }

    /// Where others are behind the same port, only this one loses its power: whoever answers for
    /// them is there, and it keeps still.
    async fn suffer(&self, fault: Fault) -> Result<(), CannotFail> {
        match fault {
            Fault::Off(true) if self.is_shared() => self.be_without_power(true),
            Fault::Off(true) => self.close().await,
            Fault::Off(false) => {
                self.forget_outputs();
                self.be_without_power(false);
                let port_is_taken = "another program has taken its port meanwhile: try again";
                self.open().await.map_err(|_| CannotFail(port_is_taken))?;
            }
            Fault::Silent(silent) => self.be_silent(silent),
            Fault::Late(by) => self.be_late(by),
            Fault::Refusing(code) => self.answer_exception(code),
            Fault::Cut if self.door.address.is_none() => {
                return Err(CannotFail(
                    "a serial line has no connection that could be cut: let it be silent, or off",
                ));
            }
            Fault::Cut => self.drop_connections(),
            Fault::Disobeying(disobeying) => self.disobey(disobeying),
            Fault::Repeating(_) | Fault::Flooding(_) => {
                return Err(CannotFail(
                    "its registers are read: it sends nothing that could come twice or too often",
                ));
            }
        }
        Ok(())
    }
}
