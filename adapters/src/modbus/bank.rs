//! Values by table and address: what a machine holds, or what one round read of it.

use std::collections::BTreeMap;

use super::settings::Table;
use super::settings::{BitTable, RegisterTable};

/// Bits and registers at the addresses that are known; all others do not exist.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Bank {
    coils: Runs<bool>,
    discretes: Runs<bool>,
    inputs: Runs<u16>,
    holdings: Runs<u16>,
}

impl Bank {
    pub(crate) fn bit(&self, table: BitTable, at: u16) -> Option<bool> {
        self.of_bits(table).get(at, 1)?.first().copied()
    }

    pub(crate) fn set_bit(&mut self, table: BitTable, at: u16, on: bool) {
        self.set_bits(table, at, &[on]);
    }

    pub(crate) fn word(&self, table: RegisterTable, at: u16) -> Option<u16> {
        self.words(table, at, 1)?.first().copied()
    }

    /// All bits, by table and address.
    pub(crate) fn all_bits(&self) -> BTreeMap<(Table, u16), bool> {
        let all = [(Table::Coil, &self.coils), (Table::Discrete, &self.discretes)];
        all.into_iter().flat_map(|(table, runs)| runs.all(table)).collect()
    }

    /// All registers, by table and address.
    pub(crate) fn all_words(&self) -> BTreeMap<(Table, u16), u16> {
        let all = [(Table::Input, &self.inputs), (Table::Holding, &self.holdings)];
        all.into_iter().flat_map(|(table, runs)| runs.all(table)).collect()
    }

    /// `count` bits from `at`; none when one of them does not exist.
    pub(crate) fn bits(&self, table: BitTable, at: u16, count: u16) -> Option<&[bool]> {
        self.of_bits(table).get(at, count)
    }

    /// `count` registers from `at`; none when one of them does not exist.
    pub(crate) fn words(&self, table: RegisterTable, at: u16, count: u16) -> Option<&[u16]> {
        let runs = match table {
            RegisterTable::Input => &self.inputs,
            RegisterTable::Holding => &self.holdings,
        };
        runs.get(at, count)
    }

    /// Sets the bits from `at` on; those beyond the last address are left out.
    pub(crate) fn set_bits(&mut self, table: BitTable, at: u16, bits: &[bool]) {
        let runs = match table {
            BitTable::Coil => &mut self.coils,
            BitTable::Discrete => &mut self.discretes,
        };
        runs.set(at, bits);
    }

    /// Sets the registers from `at` on; those beyond the last address are left out.
    pub(crate) fn set_words(&mut self, table: RegisterTable, at: u16, words: &[u16]) {
        let runs = match table {
            RegisterTable::Input => &mut self.inputs,
            RegisterTable::Holding => &mut self.holdings,
        };
        runs.set(at, words);
    }

    fn of_bits(&self, table: BitTable) -> &Runs<bool> {
        match table {
            BitTable::Coil => &self.coils,
            BitTable::Discrete => &self.discretes,
        }
    }
}

/// Values that follow each other, in the order of their addresses; no run touches the next.
#[derive(Debug, Clone, PartialEq, Eq)]
struct Runs<T>(Vec<(usize, Vec<T>)>);

impl<T> Default for Runs<T> {
    fn default() -> Self {
        Self(Vec::new())
    }
}

impl<T: Copy> Runs<T> {
    fn all(&self, table: Table) -> impl Iterator<Item = ((Table, u16), T)> {
        self.0.iter().flat_map(move |(first, values)| {
            let places = values.iter().zip(*first..);
            places.filter_map(move |(value, at)| Some(((table, u16::try_from(at).ok()?), *value)))
        })
    }

    fn get(&self, at: u16, count: u16) -> Option<&[T]> {
        let at = usize::from(at);
        let before = self.0.partition_point(|(first, _)| *first <= at);
        let (first, values) = self.0.get(before.checked_sub(1)?)?;
        values.get(at - first..at - first + usize::from(count))
    }

    /// Those values, when all of them exist.
    fn held(&mut self, at: usize, count: usize) -> Option<&mut [T]> {
        let before = self.0.partition_point(|(first, _)| *first <= at);
        let (first, values) = self.0.get_mut(before.checked_sub(1)?)?;
        values.get_mut(at - *first..at - *first + count)
    }

    fn set(&mut self, at: u16, values: &[T]) {
        let at = usize::from(at);
        let room = usize::from(u16::MAX) + 1 - at;
        let values = values.get(..room).unwrap_or(values);
        let end = at + values.len();
        if let Some(held) = self.held(at, values.len()) {
            return held.copy_from_slice(values);
        }
        // The runs that these values overlap or touch become one with them.
        let from = self.0.partition_point(|(first, old)| first + old.len() < at);
        let to = self.0.partition_point(|(first, _)| *first <= end);
        if from == to {
            return self.0.insert(from, (at, values.to_vec()));
        }
        let mut joined = Vec::new();
        let mut begin = at;
        if let Some((first, old)) = self.0.get(from..to).and_then(<[_]>::first)
            && *first < at
        {
            begin = *first;
            joined.extend_from_slice(&old[..at - first]);
        }
        joined.extend_from_slice(values);
        if let Some((first, old)) = self.0.get(from..to).and_then(<[_]>::last)
            && first + old.len() > end
        {
            joined.extend_from_slice(&old[end - first..]);
        }
        self.0.splice(from..to, [(begin, joined)]);
    }
}

#[cfg(test)]
mod tests {
    use std::collections::BTreeMap;

    use proptest::prelude::*;

    use super::*;

    #[test]
    fn what_does_not_exist_is_not_read() {
        let mut bank = Bank::default();
        bank.set_words(RegisterTable::Input, 65_534, &[1, 2, 3]);
        let read = |at, count| bank.words(RegisterTable::Input, at, count);
        assert_eq!(read(65_534, 2), Some(&[1, 2][..]));
        assert_eq!(read(65_534, 3), None);
        assert_eq!(read(65_533, 2), None);
        assert_eq!(bank.words(RegisterTable::Holding, 65_534, 1), None);
    }

    proptest! {
        #[test]
        fn runs_hold_what_was_set_last(
            sets in prop::collection::vec((0..40_u16, prop::collection::vec(0..9_u16, 1..8)), 0..20),
            at in 0..50_u16, count in 1..9_u16,
        ) {
            let (mut runs, mut one_by_one) = (Runs::default(), BTreeMap::new());
            for (at, values) in &sets {
                runs.set(*at, values);
                one_by_one.extend((*at..).zip(values.iter().copied()));
            }
            let expected: Option<Vec<u16>> =
                (at..at + count).map(|at| one_by_one.get(&at).copied()).collect();
            prop_assert_eq!(runs.get(at, count).map(<[u16]>::to_vec), expected);
        }
    }
}
