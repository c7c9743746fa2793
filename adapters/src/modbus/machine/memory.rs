//! What a simulated machine holds, and what may be written to it.

use std::sync::Arc;

use tokio::sync::watch;

use crate::modbus::bank::Bank;
use crate::modbus::settings::{BitTable, RegisterTable};
use crate::modbus::wiring::{Bit, Contact, Wiring};

/// Coils, discrete inputs and registers, and the outputs among them.
#[derive(Debug)]
pub(super) struct Memory {
    pub(super) bank: Bank,
    /// Writes are acknowledged and change nothing.
    pub(super) disobeys: bool,
    /// Counts the reads of the stroke contact.
    contact_reads: watch::Sender<u64>,
    wiring: Arc<Wiring>,
}

impl Memory {
    /// Everything the wiring names, off and 0; outputs refuse.
    pub(super) fn new(wiring: Arc<Wiring>) -> Self {
        let mut bank = Bank::default();
        for bit in wiring.bits() {
            bit.write(&mut bank, false);
        }
        if let Some(contact) = wiring.contact {
            contact.bit.write(&mut bank, !contact.level);
        }
        for field in wiring.fields() {
            let zeros = vec![0; usize::from(field.format.registers())];
            bank.set_words(field.table, field.at, &zeros);
        }
        let contact_reads = watch::Sender::default();
        let mut memory = Self { bank, disobeys: false, contact_reads, wiring };
        memory.set_outputs(|on_permit| !on_permit);
        memory
    }

    /// Sets the contact's level. What is given changes when it has been read.
    pub(super) fn set_contact(&mut self, contact: Contact, level: bool) -> watch::Receiver<u64> {
        contact.bit.write(&mut self.bank, level);
        self.contact_reads.subscribe()
    }

    /// Notes that bits were read.
    pub(super) fn note_read(&self, table: BitTable, at: u16, count: u16) {
        let read = |bit: Bit| bit.table == table && bit.at >= at && bit.at - at < count;
        if self.wiring.contact.is_some_and(|contact| read(contact.bit)) {
            self.contact_reads.send_modify(|reads| *reads += 1);
        }
    }

    /// Coils off and registers 0, whatever that means to the machine.
    pub(super) fn clear_outputs(&mut self) {
        self.set_outputs(|_| false);
    }

    fn set_outputs(&mut self, state: impl Fn(bool) -> bool) {
        let wiring = Arc::clone(&self.wiring);
        for lock in &wiring.permits {
            self.set_coil(lock.coil, state(lock.on_permit));
        }
        for beat in &wiring.beats {
            self.bank.set_words(RegisterTable::Holding, beat.at, &[0]);
        }
    }

    /// Sets a coil and whatever shows its state.
    fn set_coil(&mut self, at: u16, on: bool) {
        self.bank.set_bit(BitTable::Coil, at, on);
        for lock in self.wiring.permits.iter().filter(|lock| lock.coil == at) {
            lock.shown_at().write(&mut self.bank, on);
        }
    }

    /// Writes coils; none when one of them is no output, and then none is written.
    pub(super) fn write_coils(&mut self, at: u16, bits: &[bool]) -> Option<()> {
        let permits = &self.wiring.permits;
        let is_output = |at: u16| permits.iter().any(|lock| lock.coil == at);
        let places = places(at, bits.len(), is_output)?;
        if !self.disobeys {
            for (at, on) in places.into_iter().zip(bits) {
                self.set_coil(at, *on);
            }
        }
        Some(())
    }

    /// Writes registers; none when one of them is no output, and then none is written.
    pub(super) fn write_registers(&mut self, at: u16, words: &[u16]) -> Option<()> {
        let beats = &self.wiring.beats;
        let is_output = |at: u16| beats.iter().any(|beat| beat.at == at);
        places(at, words.len(), is_output)?;
        if !self.disobeys {
            self.bank.set_words(RegisterTable::Holding, at, words);
        }
        Some(())
    }

    /// The state of each output in the order of the wiring, permits first.
    pub(super) fn outputs(&self) -> Vec<bool> {
        let permits = self.wiring.permits.iter();
        let permits = permits.map(|lock| self.coil(lock.coil) == lock.on_permit);
        let beats = self.wiring.beats.iter();
        permits.chain(beats.map(|beat| self.beat(beat.at) & 1 == 1)).collect()
    }

    fn coil(&self, at: u16) -> bool {
        self.bank.bit(BitTable::Coil, at).unwrap_or_default()
    }

    fn beat(&self, at: u16) -> u16 {
        self.bank.word(RegisterTable::Holding, at).unwrap_or_default()
    }
}

/// The addresses of a write; none when one of them is not allowed or does not exist.
fn places(at: u16, count: usize, allowed: impl Fn(u16) -> bool) -> Option<Vec<u16>> {
    let place = |offset: usize| {
        let place = at.checked_add(u16::try_from(offset).ok()?)?;
        allowed(place).then_some(place)
    };
    (0..count).map(place).collect()
}
