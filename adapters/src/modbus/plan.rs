//! Which requests one round makes: places that touch are read together.
//!
//! Gaps are never read: an address nobody named may not exist, and then the machine refuses the
//! whole request.

use super::settings::{BitTable, RegisterTable};
use super::wiring::{Bit, Field, Wiring};

/// Most bits in one request (MODBUS Application Protocol V1.1b3, 6.1 and 6.2).
const MOST_BITS: u16 = 2_000;
/// Most registers in one request (MODBUS Application Protocol V1.1b3, 6.3 and 6.4).
const MOST_REGISTERS: u16 = 125;

/// Neighbouring places of one table that are read with one request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Reach<T> {
    pub(crate) table: T,
    pub(crate) at: u16,
    pub(crate) count: u16,
}

/// The requests of one round, bits first: a bit that announces a result is read before it.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Plan {
    pub(crate) bits: Vec<Reach<BitTable>>,
    pub(crate) words: Vec<Reach<RegisterTable>>,
}

impl Plan {
    /// Everything a machine's signals are made of.
    pub(crate) fn of(wiring: &Wiring) -> Self {
        let fields: Vec<Field> = wiring.fields().collect();
        let tables = [RegisterTable::Input, RegisterTable::Holding].into_iter();
        let words = tables.flat_map(|table| {
            let own = fields.iter().filter(|field| field.table == table);
            let places = own.map(|field| (field.at, field.format.registers()));
            joined(table, places.collect(), MOST_REGISTERS)
        });
        Self { words: words.collect(), ..Self::of_bits(wiring.bits()) }
    }

    /// These bits.
    pub(crate) fn of_bits(bits: impl Iterator<Item = Bit>) -> Self {
        let all: Vec<Bit> = bits.collect();
        let tables = [BitTable::Discrete, BitTable::Coil].into_iter();
        let bits = tables.flat_map(|table| {
            let own = all.iter().filter(|bit| bit.table == table);
            joined(table, own.map(|bit| (bit.at, 1)).collect(), MOST_BITS)
        });
        Self { bits: bits.collect(), words: Vec::new() }
    }
}

/// Joins places, each an address and a length, that overlap or touch. A place is never split.
fn joined<T: Copy>(table: T, mut places: Vec<(u16, u16)>, most: u16) -> Vec<Reach<T>> {
    places.sort_unstable();
    let mut reaches: Vec<Reach<T>> = Vec::new();
    for (at, count) in places {
        let end = u32::from(at) + u32::from(count);
        if let Some(last) = reaches.last_mut()
            && u32::from(at) <= u32::from(last.at) + u32::from(last.count)
            && let Ok(joint) = u16::try_from(end.saturating_sub(u32::from(last.at)))
            && joint <= most
        {
            last.count = last.count.max(joint);
        } else {
            reaches.push(Reach { table, at, count });
        }
    }
    reaches
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    fn plan(places: &[(u16, u16)], most: u16) -> Vec<(u16, u16)> {
        let reaches = joined((), places.to_vec(), most);
        reaches.iter().map(|reach| (reach.at, reach.count)).collect()
    }

    #[test]
    fn places_that_touch_or_overlap_are_read_together() {
        assert_eq!(plan(&[(4, 2), (0, 2), (2, 2)], 125), [(0, 6)]);
        assert_eq!(plan(&[(0, 4), (1, 1)], 125), [(0, 4)]);
        assert_eq!(plan(&[(0, 2), (3, 1)], 125), [(0, 2), (3, 1)]);
        assert_eq!(plan(&[(0, 100), (100, 25)], 125), [(0, 125)]);
        assert_eq!(plan(&[(0, 100), (100, 26)], 125), [(0, 100), (100, 26)]);
        assert_eq!(plan(&[(65_535, 1)], 125), [(65_535, 1)]);
    }

    proptest! {
        #[test]
        fn every_place_is_read_whole_by_one_request_within_the_limit(
            places in prop::collection::vec((0u16..600, 1u16..9), 0..80),
        ) {
            let plan = plan(&places, 125);
            prop_assert!(plan.iter().all(|(_, count)| (1..=125).contains(count)));
            for (at, count) in places {
                let whole = |reach: &&(u16, u16)| {
                    reach.0 <= at && at + count <= reach.0 + reach.1
                };
                prop_assert_eq!(plan.iter().filter(whole).count().min(1), 1);
            }
        }
    }
}
