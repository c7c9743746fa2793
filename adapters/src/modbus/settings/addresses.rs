//! Addresses as a maker prints them, and those of the protocol.

use schemars::JsonSchema;
use serde::{Deserialize, Serialize};

use super::tables::Table;

/// How the maker of a machine counts the places of its tables. Stated once, for all addresses.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, JsonSchema)]
pub enum Addresses {
    /// From 0, as the protocol does: the first register of a table is 0.
    #[default]
    #[serde(rename = "from-0")]
    From0,
    /// From 1: the first register of a table is 1.
    #[serde(rename = "from-1")]
    From1,
    /// With the table in the first of five or six digits: the first coil is 00001, discrete
    /// input 10001, input register 30001, holding register 40001 or 400001.
    #[serde(rename = "numbered")]
    Numbered,
}

/// Places that are never read.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, JsonSchema)]
#[serde(rename_all = "kebab-case", deny_unknown_fields)]
pub struct Forbidden {
    /// The table they are in.
    pub table: Table,
    /// The first address, as the maker prints it.
    #[schemars(range(max = 465_536))]
    pub from: u32,
    /// The last address, as the maker prints it.
    #[schemars(range(max = 465_536))]
    pub to: u32,
}

/// Places of one table in the five-digit numbering.
const FIVE_DIGITS: u32 = 9_999;
/// Places of one table.
const PLACES: u32 = 65_536;

impl Addresses {
    /// The protocol's address, from 0, of what the maker prints as `at`.
    ///
    /// # Errors
    /// In words, when there is no such place in this table.
    pub fn protocol(self, table: Table, at: u32) -> Result<u16, String> {
        let number = match self {
            Self::From0 => at.checked_add(1),
            Self::From1 => Some(at),
            Self::Numbered => Some(number(table, at)?),
        };
        let address = number.and_then(|number| number.checked_sub(1));
        let address = address.and_then(|address| u16::try_from(address).ok());
        address.ok_or_else(|| match self {
            Self::From0 => format!(
                "{at} is no address: counted from 0 they go from 0 to 65535; where the maker \
                 writes numbers such as 400001, set addresses: numbered"
            ),
            _ => format!("{at} is no address: counted from 1 they go from 1 to 65536"),
        })
    }

    /// What the maker prints for a protocol address; `wide` with six digits where it is numbered.
    #[must_use]
    pub fn printed(self, table: Table, address: u16, wide: bool) -> String {
        let number = u32::from(address) + 1;
        match self {
            Self::From0 => address.to_string(),
            Self::From1 => number.to_string(),
            Self::Numbered if wide || number > FIVE_DIGITS => {
                format!("{}{number:05}", first_digit(table))
            }
            Self::Numbered => format!("{}{number:04}", first_digit(table)),
        }
    }
}

/// The digit that stands for a table.
fn first_digit(table: Table) -> u32 {
    match table {
        Table::Coil => 0,
        Table::Discrete => 1,
        Table::Input => 3,
        Table::Holding => 4,
    }
}

/// The place, from 1, of a number in this table.
fn place(table: Table, at: u32) -> Option<u32> {
    let digit = first_digit(table);
    let five = at.checked_sub(digit * 10_000).filter(|place| (1..=FIVE_DIGITS).contains(place));
    let six = at.checked_sub(digit * 100_000).filter(|place| (1..=PLACES).contains(place));
    // A coil's zero is lost in a number: 10001 is a discrete input, never coil 010001.
    five.or(six.filter(|_| digit > 0))
}

fn number(table: Table, at: u32) -> Result<u32, String> {
    place(table, at).ok_or_else(|| {
        let all = [Table::Coil, Table::Discrete, Table::Input, Table::Holding];
        let what = match all.into_iter().find(|other| place(*other, at).is_some()) {
            Some(other) => format!("{at} numbers a place in the table {}", other.as_str()),
            None => format!("{at} numbers no place"),
        };
        let allowed = match first_digit(table) {
            0 => "00001 to 09999; where there are more, set addresses: from-1".to_owned(),
            digit => format!("{digit}0001 to {digit}9999, or {digit}00001 to {digit}65536"),
        };
        format!("{what}; those in the table {} go from {allowed}", table.as_str())
    })
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const TABLES: [Table; 4] = [Table::Coil, Table::Discrete, Table::Input, Table::Holding];

    #[test]
    fn the_first_and_last_place_of_each_numbering() {
        let cases = [
            (Addresses::From0, Table::Holding, 0, 0),
            (Addresses::From0, Table::Coil, 65_535, 65_535),
            (Addresses::From1, Table::Input, 1, 0),
            (Addresses::From1, Table::Input, 65_536, 65_535),
            (Addresses::Numbered, Table::Coil, 1, 0),
            (Addresses::Numbered, Table::Coil, 9_999, 9_998),
            (Addresses::Numbered, Table::Discrete, 10_001, 0),
            (Addresses::Numbered, Table::Discrete, 165_536, 65_535),
            (Addresses::Numbered, Table::Input, 30_001, 0),
            (Addresses::Numbered, Table::Input, 39_999, 9_998),
            (Addresses::Numbered, Table::Holding, 40_108, 107),
            (Addresses::Numbered, Table::Holding, 400_108, 107),
            (Addresses::Numbered, Table::Holding, 465_536, 65_535),
        ];
        for (addresses, table, at, address) in cases {
            assert_eq!(addresses.protocol(table, at), Ok(address), "{addresses:?} {at}");
        }
    }

    #[test]
    fn what_is_no_place_is_refused_in_words() {
        let cases = [
            (Addresses::From0, Table::Holding, 65_536, "addresses: numbered"),
            (Addresses::From0, Table::Coil, u32::MAX, "no address"),
            (Addresses::From1, Table::Holding, 0, "from 1 to 65536"),
            (Addresses::From1, Table::Holding, 65_537, "from 1 to 65536"),
            (Addresses::Numbered, Table::Holding, 30_001, "in the table input"),
            (Addresses::Numbered, Table::Holding, 400_000, "numbers no place"),
            (Addresses::Numbered, Table::Input, 465_537, "30001 to 39999"),
            (Addresses::Numbered, Table::Coil, 10_001, "in the table discrete"),
            (Addresses::Numbered, Table::Coil, 0, "00001 to 09999"),
            (Addresses::Numbered, Table::Discrete, 1, "in the table coil"),
        ];
        for (addresses, table, at, word) in cases {
            let wrong = addresses.protocol(table, at).unwrap_err();
            assert!(wrong.contains(word), "{addresses:?} {at}: {wrong}");
        }
    }

    proptest! {
        #[test]
        fn what_is_printed_is_the_place_it_was(
            address in any::<u16>(), table in prop::sample::select(&TABLES[..]), wide: bool,
        ) {
            for addresses in [Addresses::From0, Addresses::From1, Addresses::Numbered] {
                let printed = addresses.printed(table, address, wide);
                let lost = addresses == Addresses::Numbered && table == Table::Coil;
                if !lost || address < 9_999 {
                    prop_assert_eq!(addresses.protocol(table, printed.parse().unwrap()), Ok(address));
                }
            }
        }
    }
}
