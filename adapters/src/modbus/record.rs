//! What is recorded of a machine's rounds, and how it is decoded again. Nothing here waits.

use std::collections::{BTreeMap, BTreeSet};
use std::fmt;
use std::sync::Arc;

use serde::{Deserialize, Serialize};
use stencilward_domain::time::Timestamp;

use super::bank::Bank;
use super::decode::{Decoder, Round};
use super::plan::length;
use super::settings::{BitTable, RegisterTable, Settings, Table};
use super::wiring::Wiring;
use crate::record::{Again, Given, Heard, Raw, Tape, Told};

/// What one round read: each run of neighbours under its first address, counted from 0 as the
/// protocol does.
#[derive(Debug, Clone, Default, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case", deny_unknown_fields, default)]
pub struct Held {
    /// Coils, as digits 0 and 1.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub coil: BTreeMap<u16, String>,
    /// Discrete inputs, as digits 0 and 1.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub discrete: BTreeMap<u16, String>,
    /// Input registers.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub input: BTreeMap<u16, Vec<u16>>,
    /// Holding registers.
    #[serde(skip_serializing_if = "BTreeMap::is_empty")]
    pub holding: BTreeMap<u16, Vec<u16>>,
}

/// Records a round.
pub(super) fn round(tape: &Tape, bank: &Bank, round: &Round) {
    tape.put(Raw::Round(Held::of(bank)), given(round));
}

/// Records that the link is lost.
pub(super) fn lost(tape: &Tape, why: &str) {
    tape.put(Raw::Lost(why.to_owned()), Given::default());
}

fn given(round: &Round) -> Given {
    Given {
        signals: round.said.iter().cloned().map(Heard::plain).collect(),
        troubles: round.troubles.iter().map(|(kind, detail)| Told::of(*kind, detail)).collect(),
    }
}

impl Held {
    fn of(bank: &Bank) -> Self {
        let mut held = Self::default();
        for ((table, at), on) in bank.all_bits() {
            let runs = if table == Table::Coil { &mut held.coil } else { &mut held.discrete };
            let digit = if on { '1' } else { '0' };
            match runs.last_entry().filter(|run| follows(*run.key(), run.get().len(), at)) {
                Some(mut run) => run.get_mut().push(digit),
                None => drop(runs.insert(at, digit.to_string())),
            }
        }
        for ((table, at), word) in bank.all_words() {
            let runs = if table == Table::Input { &mut held.input } else { &mut held.holding };
            match runs.last_entry().filter(|run| follows(*run.key(), run.get().len(), at)) {
                Some(mut run) => run.get_mut().push(word),
                None => drop(runs.insert(at, vec![word])),
            }
        }
        held
    }

    fn bank(&self) -> Result<Bank, String> {
        let mut bank = Bank::default();
        for (table, runs) in [(BitTable::Coil, &self.coil), (BitTable::Discrete, &self.discrete)] {
            for (at, digits) in runs {
                let bit = |digit: u8| match digit {
                    b'0' => Some(false),
                    b'1' => Some(true),
                    _ => None,
                };
                let bits: Option<Vec<bool>> = digits.bytes().map(bit).collect();
                let wrong = || format!("the bits from {at} on are not written as 0 and 1");
                bank.set_bits(table, *at, &bits.ok_or_else(wrong)?);
            }
        }
        let words = [(RegisterTable::Input, &self.input), (RegisterTable::Holding, &self.holding)];
        for (table, runs) in words {
            runs.iter().for_each(|(at, words)| bank.set_words(table, *at, words));
        }
        Ok(bank)
    }
}

/// True when `at` is the next address after a run.
fn follows(first: u16, length: usize, at: u16) -> bool {
    usize::from(first) + length == usize::from(at)
}

impl fmt::Display for Held {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        let bits = [("coil", &self.coil), ("discrete", &self.discrete)];
        let bits = bits.into_iter().flat_map(|(table, runs)| {
            runs.iter().map(move |(at, digits)| format!("{table} {at}: {digits}"))
        });
        let words = [("input", &self.input), ("holding", &self.holding)];
        let words = words.into_iter().flat_map(|(table, runs)| {
            runs.iter().map(move |(at, words)| {
                let words: Vec<String> = words.iter().map(|word| format!("{word:04X}")).collect();
                format!("{table} {at}: {}", words.join(" "))
            })
        });
        let all: Vec<String> = bits.chain(words).collect();
        f.write_str(&all.join("; "))
    }
}

/// The decoder of a machine of these settings, for what was recorded.
pub(crate) fn again(settings: &Settings) -> impl Again + 'static {
    let wiring = Arc::new(Wiring::of(settings));
    let decoder = Decoder::new(Arc::clone(&wiring));
    let wanted = settings.points.iter().enumerate().filter_map(|(index, point)| {
        let place = point.place();
        let at = settings.addresses.protocol(place.table, place.at).ok()?;
        let words = format!("points[{index}] ({} {})", place.table.as_str(), place.at);
        Some((Wanted { table: place.table, at, count: length(&place) }, words))
    });
    Replayed { unread: wanted.collect(), wiring, decoder }
}

struct Replayed {
    wiring: Arc<Wiring>,
    decoder: Decoder,
    /// The points that no round has read whole yet.
    unread: Vec<(Wanted, String)>,
}

#[derive(Debug, Clone, Copy)]
struct Wanted {
    table: Table,
    at: u16,
    count: u16,
}

impl Wanted {
    fn is_in(self, bank: &Bank) -> bool {
        match (self.table.bits(), self.table.registers()) {
            (Some(table), _) => bank.bits(table, self.at, self.count).is_some(),
            (_, Some(table)) => bank.words(table, self.at, self.count).is_some(),
            (None, None) => false,
        }
    }
}

impl Again for Replayed {
    fn begin(&mut self) {
        self.decoder = Decoder::new(Arc::clone(&self.wiring));
    }

    fn again(&mut self, _: Timestamp, raw: &Raw) -> Result<Option<Given>, String> {
        match raw {
            Raw::Round(held) => {
                let bank = held.bank()?;
                self.unread.retain(|(wanted, _)| !wanted.is_in(&bank));
                Ok(Some(given(&self.decoder.round(&bank))))
            }
            Raw::Lost(_) => {
                self.decoder.lost();
                Ok(None)
            }
            _ => Err("no Modbus machine says this".to_owned()),
        }
    }

    fn remembers(&self) -> bool {
        true
    }

    fn unread(&self) -> Vec<String> {
        let words: BTreeSet<&String> = self.unread.iter().map(|(_, words)| words).collect();
        words.into_iter().cloned().collect()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn neighbours_make_a_run() {
        let mut bank = Bank::default();
        bank.set_words(RegisterTable::Input, 65_534, &[1, 2]);
        bank.set_words(RegisterTable::Holding, 3, &[7]);
        bank.set_words(RegisterTable::Holding, 5, &[8]);
        bank.set_bits(BitTable::Coil, 0, &[true, false, true]);
        let held = Held::of(&bank);
        let shown = "coil 0: 101; input 65534: 0001 0002; holding 3: 0007; holding 5: 0008";
        assert_eq!(held.to_string(), shown);
        assert_eq!(held.bank().unwrap(), bank);
        let wrong = Held { coil: [(0, "012".to_owned())].into(), ..Held::default() };
        assert!(wrong.bank().is_err());
    }
}
