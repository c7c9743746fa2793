//! What a simulated machine holds, and what may be written to it.

use std::collections::BTreeMap;
use std::sync::Arc;

use tokio::sync::watch;

use crate::modbus::bank::Bank;
use crate::modbus::plan::Plan;
use crate::modbus::settings::{BitTable, RegisterTable, Table};
use crate::modbus::wiring::{Contact, Wiring};

/// Coils, discrete inputs and registers, and the outputs among them.
#[derive(Debug)]
pub(super) struct Memory {
    pub(super) bank: Bank,
    /// Writes are acknowledged and change nothing.
    pub(super) disobeys: bool,
    /// What it says of itself, by the numbers of MODBUS Application Protocol V1.1b3, 6.21; a
    /// machine without any does not know the question.
    pub(super) identity: BTreeMap<u8, String>,
    /// Counts the reads of each contact.
    contact_reads: Vec<watch::Sender<u64>>,
    wiring: Arc<Wiring>,
}

impl Memory {
    /// Everything the wiring names, and the gaps that are read with it: off and 0, as far as that
    /// says nothing; the machine is linked, and outputs refuse.
    pub(super) fn new(wiring: Arc<Wiring>) -> Self {
        let mut bank = Bank::default();
        let plan = Plan::unlimited(&wiring);
        for reach in &plan.bits {
            bank.set_bits(reach.table, reach.at, &vec![false; reach.count.into()]);
        }
        for reach in &plan.words {
            bank.set_words(reach.table, reach.at, &vec![0; reach.count.into()]);
        }
        for flag in wiring.flags() {
            flag.write(&mut bank, false);
        }
        if let Some(link) = wiring.link {
            link.write(&mut bank, true);
        }
        let contact_reads = wiring.contacts.iter().map(|_| watch::Sender::default()).collect();
        let identity = BTreeMap::new();
        let mut memory = Self { bank, disobeys: false, identity, contact_reads, wiring };
        memory.set_outputs(|on_permit| !on_permit);
        memory
    }

    /// Sets a contact's level. What is given changes when it has been read.
    pub(super) fn set_contact(&mut self, contact: Contact, level: bool) -> watch::Receiver<u64> {
        contact.flag.write(&mut self.bank, level);
        let mut known = self.wiring.contacts.iter().zip(&self.contact_reads);
        let own = known.find(|(known, _)| **known == contact);
        own.map_or_else(|| watch::channel(0).1, |(_, reads)| reads.subscribe())
    }

    /// Notes that bits or registers were read.
    pub(super) fn note_read(&self, table: Table, at: u16, count: u16) {
        for (contact, reads) in self.wiring.contacts.iter().zip(&self.contact_reads) {
            if contact.flag.lies_in(table, at, count) {
                reads.send_modify(|reads| *reads += 1);
            }
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

    /// Writes the bits of a register that `and` does not keep, with those of `or`; none when it is
    /// no output (MODBUS Application Protocol V1.1b3, 6.16).
    pub(super) fn mask_register(&mut self, at: u16, and: u16, or: u16) -> Option<()> {
        let word = self.bank.word(RegisterTable::Holding, at)?;
        self.write_registers(at, &[word & and | or & !and])
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
