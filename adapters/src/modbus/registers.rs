//! Values in registers: numbers of several words, and text.

use super::settings::{ByteOrder, Type, WordOrder};

/// How the registers of a point are laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Format {
    Number { kind: Type, words: WordOrder },
    Text { registers: u16, bytes: ByteOrder },
}

/// What registers hold.
#[derive(Debug, Clone, PartialEq)]
pub(crate) enum Value {
    Whole(i128),
    Real(f64),
    Text(String),
}

/// Registers that cannot be read as configured.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
pub(crate) enum Unreadable {
    #[error("the registers hold no text: bytes that are not UTF-8")]
    NotText,
    #[error("{found} registers were read where {wanted} are needed")]
    Length { found: usize, wanted: u16 },
}

/// A value that does not fit the registers.
#[derive(Debug, Clone, Copy, PartialEq, Eq, thiserror::Error)]
#[error("the value does not fit the registers")]
pub(crate) struct NoRoom;

impl Format {
    pub(crate) fn registers(self) -> u16 {
        match self {
            Self::Number { kind, .. } => kind.registers().unwrap_or(1),
            Self::Text { registers, .. } => registers,
        }
    }

    /// Reads registers.
    pub(crate) fn decode(self, registers: &[u16]) -> Result<Value, Unreadable> {
        let (found, wanted) = (registers.len(), self.registers());
        if found != usize::from(wanted) {
            return Err(Unreadable::Length { found, wanted });
        }
        match self {
            Self::Number { kind, words } => Ok(number(kind, pattern(registers, words))),
            Self::Text { bytes, .. } => text(registers, bytes).map(Value::Text),
        }
    }

    /// Lays a value out in registers.
    pub(crate) fn encode(self, value: &Value) -> Result<Vec<u16>, NoRoom> {
        match (self, value) {
            (Self::Number { kind, words }, value) => {
                let pattern = pattern_of(kind, value).ok_or(NoRoom)?;
                Ok(split(pattern, self.registers(), words))
            }
            (Self::Text { registers, bytes }, Value::Text(text)) => fill(text, registers, bytes),
            (Self::Text { .. }, _) => Err(NoRoom),
        }
    }
}

/// The bits of up to four registers.
fn pattern(registers: &[u16], words: WordOrder) -> u64 {
    let join = |pattern: u64, word: &u16| pattern << 16 | u64::from(*word);
    match words {
        WordOrder::HighFirst => registers.iter().fold(0, join),
        WordOrder::LowFirst => registers.iter().rev().fold(0, join),
    }
}

fn split(pattern: u64, registers: u16, words: WordOrder) -> Vec<u16> {
    let low_first = (0..registers).map(|index| (pattern >> (16 * index) & 0xFFFF) as u16);
    match words {
        WordOrder::LowFirst => low_first.collect(),
        WordOrder::HighFirst => low_first.rev().collect(),
    }
}

/// The number that a bit pattern means. Casts cut the pattern to the number's own bits.
fn number(kind: Type, pattern: u64) -> Value {
    Value::Whole(match kind {
        Type::I16 => i128::from(pattern as u16 as i16),
        Type::I32 => i128::from(pattern as u32 as i32),
        Type::I64 => i128::from(pattern as i64),
        Type::F32 => return Value::Real(f64::from(f32::from_bits(pattern as u32))),
        Type::U16 | Type::U32 | Type::U64 | Type::Text => i128::from(pattern),
    })
}

/// The bit pattern of a number; none when it is out of range. Casts keep the bits of a number
/// that is in range.
fn pattern_of(kind: Type, value: &Value) -> Option<u64> {
    let whole = match (kind, value) {
        (_, Value::Text(_)) | (Type::Text, _) => return None,
        (Type::F32, Value::Real(real)) => return Some(u64::from((*real as f32).to_bits())),
        (Type::F32, Value::Whole(whole)) => return Some(u64::from((*whole as f32).to_bits())),
        (_, Value::Real(real)) => real.round() as i128,
        (_, Value::Whole(whole)) => *whole,
    };
    match kind {
        Type::U16 => u16::try_from(whole).ok().map(u64::from),
        Type::U32 => u32::try_from(whole).ok().map(u64::from),
        Type::U64 => u64::try_from(whole).ok(),
        Type::I16 => i16::try_from(whole).ok().map(|number| number as u64),
        Type::I32 => i32::try_from(whole).ok().map(|number| number as u64),
        Type::I64 => i64::try_from(whole).ok().map(|number| number as u64),
        Type::F32 | Type::Text => None,
    }
}

/// Text up to the first zero or the last register, without the spaces around it.
fn text(registers: &[u16], bytes: ByteOrder) -> Result<String, Unreadable> {
    let in_order = |register: &u16| match bytes {
        ByteOrder::HighFirst => register.to_be_bytes(),
        ByteOrder::LowFirst => register.to_le_bytes(),
    };
    let bytes: Vec<u8> =
        registers.iter().flat_map(in_order).take_while(|byte| *byte != 0).collect();
    let text = String::from_utf8(bytes).map_err(|_| Unreadable::NotText)?;
    Ok(text.trim().to_owned())
}

fn fill(text: &str, registers: u16, bytes: ByteOrder) -> Result<Vec<u16>, NoRoom> {
    let room = usize::from(registers) * 2;
    if text.len() > room || text.contains('\0') {
        return Err(NoRoom);
    }
    let mut padded = text.as_bytes().to_vec();
    padded.resize(room, 0);
    let join = |pair: &[u8]| match (bytes, pair) {
        (ByteOrder::HighFirst, [first, second]) => u16::from_be_bytes([*first, *second]),
        (ByteOrder::LowFirst, [first, second]) => u16::from_le_bytes([*first, *second]),
        _ => 0,
    };
    Ok(padded.chunks(2).map(join).collect())
}

#[cfg(test)]
mod tests {
    use proptest::prelude::*;

    use super::*;

    const HIGH: WordOrder = WordOrder::HighFirst;
    const LOW: WordOrder = WordOrder::LowFirst;

    fn decoded(kind: Type, words: WordOrder, registers: &[u16]) -> Value {
        let format = Format::Number { kind, words };
        format.decode(registers).unwrap()
    }

    #[test]
    fn numbers_of_each_type_and_word_order() {
        let cases = [
            (Type::U16, HIGH, vec![0xFFFF], Value::Whole(65_535)),
            (Type::I16, HIGH, vec![0xFFFF], Value::Whole(-1)),
            (Type::U32, HIGH, vec![1, 2], Value::Whole(65_538)),
            (Type::U32, LOW, vec![1, 2], Value::Whole(131_073)),
            (Type::I32, HIGH, vec![0xFFFF, 0xFFFE], Value::Whole(-2)),
            (Type::U64, LOW, vec![7, 0, 0, 1], Value::Whole((1 << 48) + 7)),
            (Type::I64, HIGH, vec![0xFFFF; 4], Value::Whole(-1)),
            (Type::F32, HIGH, vec![0x41C8, 0], Value::Real(25.0)),
            (Type::F32, LOW, vec![0, 0x41C8], Value::Real(25.0)),
        ];
        for (kind, words, registers, value) in cases {
            assert_eq!(decoded(kind, words, &registers), value, "{kind:?} {words:?}");
        }
    }

    #[test]
    fn text_ends_at_a_zero_and_loses_its_padding() {
        let read = |registers: &[u16], bytes| {
            let format = Format::Text { registers: registers.len() as u16, bytes };
            format.decode(registers)
        };
        let is = |text: &str| Ok(Value::Text(text.to_owned()));
        assert_eq!(read(&[0x5354, 0x2D31], ByteOrder::HighFirst), is("ST-1"));
        assert_eq!(read(&[0x5453, 0x312D], ByteOrder::LowFirst), is("ST-1"));
        assert_eq!(read(&[0x5354, 0x0041], ByteOrder::HighFirst), is("ST"));
        assert_eq!(read(&[0x2020, 0x0000], ByteOrder::HighFirst), is(""));
        assert_eq!(read(&[0xFFFF, 0xFFFF], ByteOrder::HighFirst), Err(Unreadable::NotText));
    }

    fn kinds() -> impl Strategy<Value = Type> {
        prop_oneof![
            Just(Type::U16),
            Just(Type::I16),
            Just(Type::U32),
            Just(Type::I32),
            Just(Type::U64),
            Just(Type::I64),
            Just(Type::F32),
        ]
    }

    fn orders() -> impl Strategy<Value = WordOrder> {
        prop_oneof![Just(HIGH), Just(LOW)]
    }

    fn byte_orders() -> impl Strategy<Value = ByteOrder> {
        prop_oneof![Just(ByteOrder::HighFirst), Just(ByteOrder::LowFirst)]
    }

    proptest! {
        #[test]
        fn any_registers_are_decoded_or_refused(
            registers in prop::collection::vec(any::<u16>(), 0..130),
            kind in kinds(), words in orders(), bytes in byte_orders(), length in 0u16..130,
        ) {
            let _ = Format::Number { kind, words }.decode(&registers);
            let _ = Format::Text { registers: length, bytes }.decode(&registers);
        }

        #[test]
        fn what_registers_say_is_written_back_as_the_same_registers(
            registers in prop::collection::vec(any::<u16>(), 4), kind in kinds(), words in orders(),
        ) {
            let format = Format::Number { kind, words };
            let registers = &registers[..usize::from(format.registers())];
            let value = format.decode(registers).unwrap();
            prop_assume!(!matches!(value, Value::Real(real) if real.is_nan()));
            prop_assert_eq!(format.encode(&value).unwrap(), registers);
        }

        #[test]
        fn text_that_fits_comes_back(
            text in "[!-~]{0,20}|[a-zÄ-ü]{0,10}", bytes in byte_orders(), registers in 1u16..12,
        ) {
            let format = Format::Text { registers, bytes };
            match format.encode(&Value::Text(text.clone())) {
                Ok(words) => prop_assert_eq!(format.decode(&words).unwrap(), Value::Text(text)),
                Err(NoRoom) => prop_assert!(text.len() > usize::from(registers) * 2),
            }
        }
    }
}
