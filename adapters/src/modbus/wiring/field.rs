//! Bits and fields: places that know how to read and write themselves.
//!
//! A place that a round did not read gives none: there is nothing to tell of it.

use std::collections::BTreeMap;

use stencilward_domain::names::BadName;

use crate::modbus::bank::Bank;
use crate::modbus::registers::{Format, NoRoom, Number, Unreadable, Value};
use crate::modbus::settings::{
    Addresses, BitTable, Layout, Level, Place, RawValue, RegisterTable, Table, Type,
};

/// One bit of a table of bits.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Bit {
    pub(crate) table: BitTable,
    pub(crate) at: u16,
}

/// One bit, wherever it is, and the level at which it says so.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Flag {
    spot: Spot,
    active: bool,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
enum Spot {
    Alone(Bit),
    Within { table: RegisterTable, at: u16, bit: u8 },
}

/// What makes one value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Field {
    /// 0 or 1.
    Bit(Bit),
    Registers {
        table: RegisterTable,
        at: u16,
        format: Format,
    },
}

/// What makes one code or name.
#[derive(Debug, Clone)]
pub(crate) struct NameField {
    field: Field,
    values: BTreeMap<RawValue, String>,
}

/// Registers that hold no code or name, and not "none" either.
#[derive(Debug, Clone, PartialEq, Eq, thiserror::Error)]
pub(crate) enum Unclear {
    #[error(transparent)]
    Unreadable(#[from] Unreadable),
    #[error(transparent)]
    BadName(#[from] BadName),
}

impl Bit {
    pub(crate) fn new(table: BitTable, at: u16) -> Self {
        Self { table, at }
    }

    pub(crate) fn coil(at: u16) -> Self {
        Self::new(BitTable::Coil, at)
    }

    pub(crate) fn read(self, bank: &Bank) -> Option<bool> {
        bank.bit(self.table, self.at)
    }

    pub(crate) fn write(self, bank: &mut Bank, on: bool) {
        bank.set_bit(self.table, self.at, on);
    }
}

impl Flag {
    /// The flag at a place; none when a bit cannot be there.
    pub(super) fn of(place: &Place, addresses: Addresses) -> Option<Self> {
        let at = addresses.protocol(place.table, place.at).ok()?;
        let Layout::Bit { bit, active } = place.layout else {
            return None;
        };
        let spot = match (place.table.bits(), place.table.registers(), bit) {
            (Some(table), _, None) => Spot::Alone(Bit::new(table, at)),
            (_, Some(table), Some(bit @ 0..16)) => Spot::Within { table, at, bit },
            _ => return None,
        };
        Some(Self { spot, active: active == Level::On })
    }

    /// True when a read of so many places reads it.
    pub(crate) fn lies_in(self, table: Table, first: u16, count: u16) -> bool {
        let (own, at) = match self.spot {
            Spot::Alone(bit) => (Table::from(bit.table), bit.at),
            Spot::Within { table, at, .. } => (table.into(), at),
        };
        own == table && at.checked_sub(first).is_some_and(|offset| offset < count)
    }

    /// True while it says so.
    pub(crate) fn read(self, bank: &Bank) -> Option<bool> {
        let on = match self.spot {
            Spot::Alone(bit) => bit.read(bank)?,
            Spot::Within { table, at, bit } => bank.word(table, at)? >> bit & 1 == 1,
        };
        Some(on == self.active)
    }

    pub(crate) fn write(self, bank: &mut Bank, so: bool) {
        let on = so == self.active;
        match self.spot {
            Spot::Alone(bit) => bit.write(bank, on),
            Spot::Within { table, at, bit } => {
                let others = bank.word(table, at).unwrap_or_default() & !(1 << bit);
                bank.set_words(table, at, &[others | u16::from(on) << bit]);
            }
        }
    }
}

impl Field {
    /// The field at a place; none when the value cannot be there.
    pub(super) fn of(place: &Place, addresses: Addresses) -> Option<Self> {
        let at = addresses.protocol(place.table, place.at).ok()?;
        let Layout::Value { kind, words, bytes, bits, registers } = place.layout else {
            return None;
        };
        if let Some(table) = place.table.bits() {
            return (kind == Type::Bit).then_some(Self::Bit(Bit::new(table, at)));
        }
        let table = place.table.registers()?;
        let bytes = bytes.unwrap_or_default();
        let format = match kind {
            Type::Bit => return None,
            Type::Text => Format::Text { registers: registers?, bytes },
            // Where no order of words is set the number takes one register.
            kind => Format::Number(Number { kind, words: words.unwrap_or_default(), bytes, bits }),
        };
        Some(Self::Registers { table, at, format })
    }

    pub(crate) fn read(self, bank: &Bank) -> Option<Result<Value, Unreadable>> {
        match self {
            Self::Bit(bit) => Some(Ok(Value::Whole(i128::from(bit.read(bank)?)))),
            Self::Registers { table, at, format } => {
                Some(format.decode(bank.words(table, at, format.registers())?))
            }
        }
    }

    pub(crate) fn write(self, bank: &mut Bank, value: &Value) -> Result<(), NoRoom> {
        match (self, value) {
            (Self::Bit(bit), Value::Whole(number @ (0 | 1))) => bit.write(bank, *number == 1),
            (Self::Bit(_), _) => return Err(NoRoom),
            (Self::Registers { table, at, format }, value) => {
                let count = format.registers();
                let before = bank.words(table, at, count).map(<[u16]>::to_vec);
                let before = before.unwrap_or_else(|| vec![0; usize::from(count)]);
                bank.set_words(table, at, &format.encode(value, &before)?);
            }
        }
        Ok(())
    }

    fn is_text(self) -> bool {
        matches!(self, Self::Registers { format: Format::Text { .. }, .. })
    }
}

impl NameField {
    pub(super) fn new(field: Field, values: Option<&BTreeMap<RawValue, String>>) -> Self {
        Self { field, values: values.cloned().unwrap_or_default() }
    }

    /// The name; none in it when the registers say that there is none.
    pub(crate) fn read<T>(
        &self,
        bank: &Bank,
        new: fn(&str) -> Result<T, BadName>,
    ) -> Option<Result<Option<T>, Unclear>> {
        let text = match self.field.read(bank)? {
            Ok(Value::Text(text)) => text,
            Ok(Value::Whole(whole)) => self.meaning(whole),
            Ok(Value::Real(real)) => real.to_string(),
            Err(unreadable) => return Some(Err(unreadable.into())),
        };
        Some(match new(&text) {
            Ok(name) => Ok(Some(name)),
            Err(BadName::Empty) => Ok(None),
            Err(bad) => Err(bad.into()),
        })
    }

    fn meaning(&self, whole: i128) -> String {
        let listed = i64::try_from(whole).ok();
        let listed = listed.and_then(|raw| self.values.get(&RawValue(raw)));
        match (listed, whole) {
            (Some(text), _) => text.clone(),
            (None, 0) => String::new(),
            (None, whole) => whole.to_string(),
        }
    }

    /// Shows a name, or that there is none.
    pub(crate) fn write(&self, bank: &mut Bank, name: Option<&str>) -> Result<(), NoRoom> {
        let text = name.unwrap_or_default();
        let value = if self.field.is_text() {
            Value::Text(text.to_owned())
        } else {
            Value::Whole(self.number_for(text)?)
        };
        self.field.write(bank, &value)
    }

    fn number_for(&self, text: &str) -> Result<i128, NoRoom> {
        let mut values = self.values.iter();
        if let Some((raw, _)) = values.find(|(_, listed)| listed.trim() == text) {
            return Ok(i128::from(raw.0));
        }
        let number = if text.is_empty() { 0 } else { text.parse().map_err(|_| NoRoom)? };
        if self.meaning(number) == text { Ok(number) } else { Err(NoRoom) }
    }
}

#[cfg(test)]
mod tests {
    use stencilward_domain::names::StencilCode;

    use super::*;
    use crate::modbus::settings::{ByteOrder, WordOrder};

    fn numbered(values: &[(i64, &str)]) -> NameField {
        let values = values.iter().map(|(raw, text)| (RawValue(*raw), (*text).to_owned()));
        let number = Number {
            kind: Type::U16,
            words: WordOrder::HighFirst,
            bytes: ByteOrder::HighFirst,
            bits: None,
        };
        let format = Format::Number(number);
        let field = Field::Registers { table: RegisterTable::Holding, at: 10, format };
        NameField { field, values: values.collect() }
    }

    fn code(field: &NameField, bank: &Bank) -> Result<Option<StencilCode>, Unclear> {
        field.read(bank, StencilCode::new).expect("it was read")
    }

    fn read(field: &NameField, raw: u16) -> Option<String> {
        let mut bank = Bank::default();
        bank.set_words(RegisterTable::Holding, 10, &[raw]);
        code(field, &bank).unwrap().map(|code| code.as_str().to_owned())
    }

    #[test]
    fn a_number_stands_for_its_listed_code_or_for_itself() {
        let field = numbered(&[(17, "ST-0017"), (9, "")]);
        assert_eq!(read(&field, 17).as_deref(), Some("ST-0017"));
        assert_eq!(read(&field, 18).as_deref(), Some("18"));
        assert_eq!(read(&field, 9), None);
        assert_eq!(read(&field, 0), None);
        assert_eq!(read(&numbered(&[(0, "ST-0")]), 0).as_deref(), Some("ST-0"));
        assert!(field.read(&Bank::default(), StencilCode::new).is_none(), "it was not read");
    }

    #[test]
    fn a_code_is_shown_as_it_would_be_read() {
        let field = numbered(&[(17, "ST-0017"), (18, "")]);
        let mut bank = Bank::default();
        for name in ["ST-0017", "44"] {
            field.write(&mut bank, Some(name)).unwrap();
            assert_eq!(code(&field, &bank), Ok(Some(StencilCode::new(name).unwrap())));
        }
        field.write(&mut bank, None).unwrap();
        assert_eq!(code(&field, &bank), Ok(None));
        for name in ["ST-0018", "18", "99999"] {
            assert_eq!(field.write(&mut bank, Some(name)), Err(NoRoom), "{name}");
        }
    }

    #[test]
    fn a_control_character_is_no_code() {
        let format = Format::Text { registers: 2, bytes: ByteOrder::HighFirst };
        let field = Field::Registers { table: RegisterTable::Input, at: 0, format };
        let field = NameField { field, values: BTreeMap::new() };
        let mut bank = Bank::default();
        bank.set_words(RegisterTable::Input, 0, &[0x4107, 0x4200]);
        assert_eq!(code(&field, &bank), Err(Unclear::BadName(BadName::Control)));
    }

    #[test]
    fn a_flag_of_a_register_leaves_its_other_bits_alone() {
        let place = |table, bit, active| Place {
            table,
            at: 3,
            poll: None,
            layout: Layout::Bit { bit, active },
        };
        let flag = Flag::of(&place(Table::Input, Some(9), Level::Off), Addresses::From1).unwrap();
        let mut bank = Bank::default();
        assert_eq!(flag.read(&bank), None);
        bank.set_words(RegisterTable::Input, 2, &[0xF00F]);
        assert_eq!(flag.read(&bank), Some(true));
        flag.write(&mut bank, false);
        assert_eq!(bank.word(RegisterTable::Input, 2), Some(0xF20F));
        flag.write(&mut bank, true);
        assert_eq!(bank.word(RegisterTable::Input, 2), Some(0xF00F));
        for (table, bit) in [(Table::Input, None), (Table::Input, Some(16)), (Table::Coil, Some(0))]
        {
            assert_eq!(Flag::of(&place(table, bit, Level::On), Addresses::From1), None);
        }
    }
}
