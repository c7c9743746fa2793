//! Values by table and address: what a machine holds, or what one round read of it.

use std::collections::{BTreeMap, HashMap};

use super::settings::Table;
use super::settings::{BitTable, RegisterTable};

/// Bits and registers at the addresses that are known; all others do not exist.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Bank {
    bits: HashMap<(Table, u16), bool>,
    words: HashMap<(Table, u16), u16>,
}

impl Bank {
    pub(crate) fn bit(&self, table: BitTable, at: u16) -> Option<bool> {
        self.bits.get(&(table.into(), at)).copied()
    }

    pub(crate) fn set_bit(&mut self, table: BitTable, at: u16, on: bool) {
        self.bits.insert((table.into(), at), on);
    }

    pub(crate) fn word(&self, table: RegisterTable, at: u16) -> Option<u16> {
        self.words.get(&(table.into(), at)).copied()
    }

    /// All bits, by table and address.
    pub(crate) fn all_bits(&self) -> BTreeMap<(Table, u16), bool> {
        self.bits.iter().map(|(place, on)| (*place, *on)).collect()
    }

    /// All registers, by table and address.
    pub(crate) fn all_words(&self) -> BTreeMap<(Table, u16), u16> {
        self.words.iter().map(|(place, word)| (*place, *word)).collect()
    }

    /// `count` bits from `at`; none when one of them does not exist.
    pub(crate) fn bits(&self, table: BitTable, at: u16, count: u16) -> Option<Vec<bool>> {
        addresses(at, count).map(|at| self.bit(table, at?)).collect()
    }

    /// `count` registers from `at`; none when one of them does not exist.
    pub(crate) fn words(&self, table: RegisterTable, at: u16, count: u16) -> Option<Vec<u16>> {
        addresses(at, count).map(|at| self.word(table, at?)).collect()
    }

    /// Sets the bits from `at` on; those beyond the last address are left out.
    pub(crate) fn set_bits(&mut self, table: BitTable, at: u16, bits: &[bool]) {
        for (at, on) in (at..=u16::MAX).zip(bits) {
            self.set_bit(table, at, *on);
        }
    }

    /// Sets the registers from `at` on; those beyond the last address are left out.
    pub(crate) fn set_words(&mut self, table: RegisterTable, at: u16, words: &[u16]) {
        for (at, word) in (at..=u16::MAX).zip(words) {
            self.words.insert((table.into(), at), *word);
        }
    }
}

/// `count` addresses from `at`; none for each beyond the last one.
fn addresses(at: u16, count: u16) -> impl Iterator<Item = Option<u16>> {
    (0..count).map(move |index| at.checked_add(index))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_does_not_exist_is_not_read() {
        let mut bank = Bank::default();
        bank.set_words(RegisterTable::Input, 65_534, &[1, 2, 3]);
        let read = |at, count| bank.words(RegisterTable::Input, at, count);
        assert_eq!(read(65_534, 2), Some(vec![1, 2]));
        assert_eq!(read(65_534, 3), None);
        assert_eq!(read(65_533, 2), None);
        assert_eq!(bank.words(RegisterTable::Holding, 65_534, 1), None);
    }
}
