//! Which requests one round makes.
//!
//! A request costs as much as reading `gap` registers, and a register 1; 16 bits cost as much as
//! a register. The plan is the cheapest for the points of a round, and of those the one with the
//! fewest requests. So with a gap of 0 nothing is read that nobody named: such an address may not
//! exist, and then the machine refuses the whole request.

mod cover;
mod print;
mod rounds;

use super::settings::{BitTable, Layout, Place, RegisterTable, Settings, Table};
use super::wiring::{Bit, Wiring};

pub(crate) use rounds::Rounds;

/// The tables, in the order in which they are read.
const BIT_TABLES: [BitTable; 2] = [BitTable::Discrete, BitTable::Coil];
const WORD_TABLES: [RegisterTable; 2] = [RegisterTable::Input, RegisterTable::Holding];
/// Most registers in one request (MODBUS Application Protocol V1.1b3, 6.3 and 6.4). Sixteen times
/// as many bits are the most of those (6.1 and 6.2).
const MOST_REGISTERS: u16 = 125;
/// Bits that cost as much as one register: as many bytes carry them.
const BITS_IN_REGISTER: u16 = 16;

/// Neighbouring places of one table that are read with one request.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Reach<T> {
    pub(crate) table: T,
    pub(crate) at: u16,
    pub(crate) count: u16,
}

/// The requests of one round. What announces other values is read before them, as far as they are
/// not read by the same request: bits first, then registers with such bits.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Plan {
    pub(crate) bits: Vec<Reach<BitTable>>,
    pub(crate) words: Vec<Reach<RegisterTable>>,
}

/// What one point wants to be read.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Want {
    pub(crate) table: Table,
    pub(crate) at: u16,
    pub(crate) count: u16,
    /// In each so many rounds.
    every: u32,
    /// It announces other values.
    announces: bool,
    /// The point's place in the settings.
    point: usize,
}

/// What a machine lets be read at once.
#[derive(Debug, Clone, Default, PartialEq, Eq)]
pub(crate) struct Limits {
    gap: u16,
    most_registers: u16,
    /// Tables with the first and last of places that are never read.
    forbidden: Vec<(Table, u16, u16)>,
}

impl Limits {
    pub(crate) fn of(settings: &Settings) -> Self {
        let forbidden = settings.forbidden.iter().filter_map(|range| {
            let address = |at| settings.addresses.protocol(range.table, at).ok();
            Some((range.table, address(range.from)?, address(range.to)?))
        });
        Self {
            gap: settings.gap,
            most_registers: settings.most_registers,
            forbidden: forbidden.collect(),
        }
    }

    /// True when a place in this range is never read.
    pub(crate) fn forbids(&self, table: Table, at: u16, count: u16) -> bool {
        let last = at.saturating_add(count.saturating_sub(1));
        self.forbidden.iter().any(|(of, from, to)| *of == table && at <= *to && *from <= last)
    }

    /// The requests that read these places, each an address and a length, of one table.
    fn cover<T: Copy + Into<Table>>(&self, table: T, places: Vec<(u16, u16)>) -> Vec<Reach<T>> {
        let all: Table = table.into();
        let forbidden = self.forbidden.iter().filter(|(of, _, _)| *of == all);
        let forbidden: Vec<(u16, u16)> = forbidden.map(|(_, from, to)| (*from, *to)).collect();
        let unit = if all.bits().is_some() { BITS_IN_REGISTER } else { 1 };
        let price = u32::from(self.gap) * u32::from(unit);
        let most = self.most_registers.saturating_mul(unit);
        let requests = cover::cover(places, price, most, &forbidden).into_iter();
        requests.map(|(at, count)| Reach { table, at, count }).collect()
    }
}

impl Want {
    /// The point's place in the settings.
    pub(crate) fn point(&self) -> usize {
        self.point
    }
}

/// What the points of a machine want to be read.
pub(crate) fn wants(settings: &Settings) -> Vec<Want> {
    let points = settings.points.iter().enumerate();
    let want = points.filter_map(|(index, point)| {
        let place = point.place();
        let every = place.poll.map_or(1.0, |poll| {
            (poll.0.as_secs_f64() / settings.poll.0.as_secs_f64()).round().max(1.0)
        });
        Some(Want {
            table: place.table,
            at: settings.addresses.protocol(place.table, place.at).ok()?,
            count: length(&place),
            // A cast that saturates: more rounds than that are never made.
            every: every as u32,
            announces: point.announces(),
            point: index,
        })
    });
    want.collect()
}

/// Bits or registers that a point takes.
pub(crate) fn length(place: &Place) -> u16 {
    match place.layout {
        Layout::Bit { .. } => 1,
        Layout::Value { kind, registers, .. } => kind.registers().or(registers).unwrap_or(1),
    }
}

impl Plan {
    /// Everything that any round may read, gaps included, as if a request knew no limit.
    pub(crate) fn unlimited(wiring: &Wiring) -> Self {
        let limits = Limits { most_registers: u16::MAX, ..wiring.limits.clone() };
        Self::for_wants(&limits, &wiring.wants)
    }

    /// These bits.
    pub(crate) fn of_bits(bits: impl Iterator<Item = Bit>) -> Self {
        let all: Vec<Bit> = bits.collect();
        let limits = Limits { most_registers: MOST_REGISTERS, ..Limits::default() };
        let cover = |table: BitTable| {
            let own = all.iter().filter(|bit| bit.table == table);
            limits.cover(table, own.map(|bit| (bit.at, 1)).collect())
        };
        Self { bits: BIT_TABLES.into_iter().flat_map(cover).collect(), words: Vec::new() }
    }

    fn for_wants(limits: &Limits, wants: &[Want]) -> Self {
        let places = |table: Table| {
            let own = wants.iter().filter(|want| want.table == table);
            own.map(|want| (want.at, want.count)).collect()
        };
        let bits =
            BIT_TABLES.into_iter().flat_map(|table| limits.cover(table, places(table.into())));
        let words = WORD_TABLES.into_iter();
        let words = words.flat_map(|table| limits.cover(table, places(table.into())));
        let mut words: Vec<Reach<RegisterTable>> = words.collect();
        let announces = |reach: &Reach<RegisterTable>| {
            wants.iter().any(|want| want.announces && reach.holds(want))
        };
        words.sort_by_key(|reach| !announces(reach));
        Self { bits: bits.collect(), words }
    }
}

impl<T: Copy + Into<Table>> Reach<T> {
    /// True when all that the point wants is read.
    fn holds(&self, want: &Want) -> bool {
        let end = |at: u16, count: u16| u32::from(at) + u32::from(count);
        want.table == self.table.into()
            && self.at <= want.at
            && end(want.at, want.count) <= end(self.at, self.count)
    }
}

#[cfg(test)]
mod tests;
