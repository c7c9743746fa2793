//! Bits and fields: places that know how to read and write themselves.

use std::collections::BTreeMap;

use stencilward_domain::names::{BadName, StencilCode};

use super::or_default;
use crate::modbus::bank::Bank;
use crate::modbus::registers::{Format, NoRoom, Unreadable, Value};
use crate::modbus::settings::{
    BitTable, ByteOrder, Code, RawValue, RegisterTable, SlotCode, Type, WordOrder,
};

/// One bit.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Bit {
    pub(crate) table: BitTable,
    pub(crate) at: u16,
}

/// Registers that make one value.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Field {
    pub(crate) table: RegisterTable,
    pub(crate) at: u16,
    pub(crate) format: Format,
}

/// Registers that hold the code of a stencil.
#[derive(Debug, Clone)]
pub(crate) struct CodeField {
    pub(crate) field: Field,
    values: BTreeMap<RawValue, String>,
}

/// Registers that hold no code of a stencil, and not "none" either.
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

impl Field {
    pub(crate) fn number(
        table: RegisterTable,
        at: u16,
        kind: Type,
        words: Option<WordOrder>,
    ) -> Self {
        let words = or_default(words);
        let format = Format::Number { kind, words };
        Self { table, at, format }
    }

    pub(crate) fn read(self, bank: &Bank) -> Result<Value, Unreadable> {
        let wanted = self.format.registers();
        let words = bank.words(self.table, self.at, wanted);
        let words = words.ok_or(Unreadable::Length { found: 0, wanted })?;
        self.format.decode(&words)
    }

    /// The number in the registers, if a whole one is in them.
    pub(crate) fn read_whole(self, bank: &Bank) -> Option<i128> {
        match self.read(bank) {
            Ok(Value::Whole(whole)) => Some(whole),
            _ => None,
        }
    }

    pub(crate) fn write(self, bank: &mut Bank, value: &Value) -> Result<(), NoRoom> {
        let words = self.format.encode(value)?;
        bank.set_words(self.table, self.at, &words);
        Ok(())
    }
}

impl CodeField {
    pub(super) fn of(code: &Code) -> Option<Self> {
        Some(Self {
            field: Field {
                table: code.table,
                at: code.at,
                format: format(code.kind, code.words, code.registers, code.bytes)?,
            },
            values: code.values.clone().unwrap_or_default(),
        })
    }

    pub(super) fn of_slot(code: &SlotCode) -> Option<Self> {
        Some(Self {
            field: Field {
                table: code.table,
                at: code.at,
                format: format(code.kind, code.words, code.registers, code.bytes)?,
            },
            values: code.values.clone().unwrap_or_default(),
        })
    }

    /// The code; none when the registers say that there is no stencil.
    pub(crate) fn read(&self, bank: &Bank) -> Result<Option<StencilCode>, Unclear> {
        let text = match self.field.read(bank)? {
            Value::Text(text) => text,
            Value::Whole(whole) => self.meaning(whole),
            Value::Real(real) => real.to_string(),
        };
        match StencilCode::new(&text) {
            Ok(code) => Ok(Some(code)),
            Err(BadName::Empty) => Ok(None),
            Err(bad) => Err(bad.into()),
        }
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

    /// Shows a code, or that there is no stencil.
    pub(crate) fn write(&self, bank: &mut Bank, code: Option<&StencilCode>) -> Result<(), NoRoom> {
        let text = code.map_or("", StencilCode::as_str);
        let value = match self.field.format {
            Format::Text { .. } => Value::Text(text.to_owned()),
            Format::Number { .. } => Value::Whole(self.number_for(text)?),
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

fn format(
    kind: Type,
    words: Option<WordOrder>,
    registers: Option<u16>,
    bytes: Option<ByteOrder>,
) -> Option<Format> {
    Some(match kind {
        Type::Text => Format::Text { registers: registers?, bytes: bytes.unwrap_or_default() },
        kind => Format::Number { kind, words: or_default(words) },
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    fn numbered(values: &[(i64, &str)]) -> CodeField {
        let values = values.iter().map(|(raw, text)| (RawValue(*raw), (*text).to_owned()));
        CodeField {
            field: Field::number(RegisterTable::Holding, 10, Type::U16, None),
            values: values.collect(),
        }
    }

    fn read(field: &CodeField, raw: u16) -> Option<String> {
        let mut bank = Bank::default();
        bank.set_words(RegisterTable::Holding, 10, &[raw]);
        let code = field.read(&bank).unwrap();
        code.map(|code| code.as_str().to_owned())
    }

    #[test]
    fn a_number_stands_for_its_listed_code_or_for_itself() {
        let field = numbered(&[(17, "ST-0017"), (9, "")]);
        assert_eq!(read(&field, 17).as_deref(), Some("ST-0017"));
        assert_eq!(read(&field, 18).as_deref(), Some("18"));
        assert_eq!(read(&field, 9), None);
        assert_eq!(read(&field, 0), None);
        assert_eq!(read(&numbered(&[(0, "ST-0")]), 0).as_deref(), Some("ST-0"));
    }

    #[test]
    fn a_code_is_shown_as_it_would_be_read() {
        let field = numbered(&[(17, "ST-0017"), (18, "")]);
        let mut bank = Bank::default();
        for code in ["ST-0017", "44"] {
            let code = StencilCode::new(code).unwrap();
            field.write(&mut bank, Some(&code)).unwrap();
            assert_eq!(field.read(&bank), Ok(Some(code)));
        }
        field.write(&mut bank, None).unwrap();
        assert_eq!(field.read(&bank), Ok(None));
        for code in ["ST-0018", "18", "99999"] {
            let code = StencilCode::new(code).unwrap();
            assert_eq!(field.write(&mut bank, Some(&code)), Err(NoRoom), "{code}");
        }
    }

    #[test]
    fn a_control_character_is_no_code() {
        let field = CodeField {
            field: Field {
                table: RegisterTable::Input,
                at: 0,
                format: Format::Text { registers: 2, bytes: ByteOrder::HighFirst },
            },
            values: BTreeMap::new(),
        };
        let mut bank = Bank::default();
        bank.set_words(RegisterTable::Input, 0, &[0x4107, 0x4200]);
        assert_eq!(field.read(&bank), Err(Unclear::BadName(BadName::Control)));
    }
}
