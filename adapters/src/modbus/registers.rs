//! Values in registers: numbers of several words, parts of a register, and text.

use super::settings::{ByteOrder, Type, WordOrder};

/// How the registers of a point are laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) enum Format {
    Number(Number),
    Text { registers: u16, bytes: ByteOrder },
}

/// How the registers of a number are laid out.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub(crate) struct Number {
    pub(crate) kind: Type,
    pub(crate) words: WordOrder,
    pub(crate) bytes: ByteOrder,
    /// The first and the last bit that count; all of them where none are set.
    pub(crate) bits: Option<[u8; 2]>,
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
    #[error("the registers hold {0:#x}, which is no number of decimal digits")]
    NotDecimal(u64),
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
            Self::Number(number) => number.kind.registers().unwrap_or(1),
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
            Self::Number(number) => number.decode(registers),
            Self::Text { bytes, .. } => text(registers, bytes).map(Value::Text),
        }
    }

    /// Lays a value out in registers, whose other bits are those of `before`.
    pub(crate) fn encode(self, value: &Value, before: &[u16]) -> Result<Vec<u16>, NoRoom> {
        match (self, value) {
            (Self::Number(number), value) => {
                let kept = number.pattern(before) & !number.mask();
                let pattern = number.pattern_of(value).ok_or(NoRoom)?;
                Ok(number.split(kept | pattern))
            }
            (Self::Text { registers, bytes }, Value::Text(text)) => fill(text, registers, bytes),
            (Self::Text { .. }, _) => Err(NoRoom),
        }
    }
}

impl Number {
    fn decode(self, registers: &[u16]) -> Result<Value, Unreadable> {
        let pattern = (self.pattern(registers) & self.mask()) >> self.lowest();
        number(self.kind, pattern)
    }

    /// The bits of up to four registers, in the order of their worth.
    fn pattern(self, registers: &[u16]) -> u64 {
        let join =
            |pattern: u64, word: &u16| pattern << 16 | u64::from(in_order(*word, self.bytes));
        match self.words {
            WordOrder::HighFirst => registers.iter().fold(0, join),
            WordOrder::LowFirst => registers.iter().rev().fold(0, join),
        }
    }

    fn split(self, pattern: u64) -> Vec<u16> {
        let registers = self.kind.registers().unwrap_or(1);
        let word = |index: u16| in_order((pattern >> (16 * index) & 0xFFFF) as u16, self.bytes);
        let low_first = (0..registers).map(word);
        match self.words {
            WordOrder::LowFirst => low_first.collect(),
            WordOrder::HighFirst => low_first.rev().collect(),
        }
    }

    fn lowest(self) -> u32 {
        self.bits.map_or(0, |[first, _]| u32::from(first).min(63))
    }

    /// The bits that count.
    fn mask(self) -> u64 {
        self.bits.map_or(u64::MAX, |[first, last]| {
            let width = u32::from(last.saturating_sub(first)) + 1;
            (u64::MAX >> 64_u32.saturating_sub(width).min(63)) << self.lowest()
        })
    }

    /// The bit pattern of a value, in its place; none when it is out of range.
    fn pattern_of(self, value: &Value) -> Option<u64> {
        let pattern = pattern_of(self.kind, value)?;
        let placed = pattern.checked_shl(self.lowest())?;
        let fits = placed >> self.lowest() == pattern && placed & !self.mask() == 0;
        fits.then_some(placed)
    }
}

/// A register with its more worthy byte high.
fn in_order(word: u16, bytes: ByteOrder) -> u16 {
    match bytes {
        ByteOrder::HighFirst => word,
        ByteOrder::LowFirst => word.swap_bytes(),
    }
}

/// The number that a bit pattern means. Casts cut the pattern to the number's own bits.
fn number(kind: Type, pattern: u64) -> Result<Value, Unreadable> {
    Ok(Value::Whole(match kind {
        Type::I16 => i128::from(pattern as u16 as i16),
        Type::I32 => i128::from(pattern as u32 as i32),
        Type::I64 => i128::from(pattern as i64),
        Type::F32 => return Ok(Value::Real(f64::from(f32::from_bits(pattern as u32)))),
        Type::F64 => return Ok(Value::Real(f64::from_bits(pattern))),
        Type::Bcd16 | Type::Bcd32 => {
            i128::from(decimal(pattern).ok_or(Unreadable::NotDecimal(pattern))?)
        }
        Type::Bit | Type::U16 | Type::U32 | Type::U64 | Type::Text => i128::from(pattern),
    }))
}

/// The number whose decimal digits are the pattern's groups of four bits.
fn decimal(pattern: u64) -> Option<u64> {
    (0..16).rev().try_fold(0, |number, group| {
        let digit = pattern >> (4 * group) & 0xF;
        (digit <= 9).then_some(number * 10 + digit)
    })
}

/// The inverse, for as many digits.
fn digits(number: i128, count: u32) -> Option<u64> {
    let number = u64::try_from(number).ok().filter(|number| *number < 10_u64.pow(count))?;
    let digit = |place: u32| (number / 10_u64.pow(place) % 10) << (4 * place);
    Some((0..count).map(digit).sum())
}

/// The bit pattern of a number; none when it is out of range. Casts keep the bits of a number
/// that is in range.
fn pattern_of(kind: Type, value: &Value) -> Option<u64> {
    let whole = match (kind, value) {
        (_, Value::Text(_)) => return None,
        (Type::F32, Value::Real(real)) => return Some(u64::from((*real as f32).to_bits())),
        (Type::F32, Value::Whole(whole)) => return Some(u64::from((*whole as f32).to_bits())),
        (Type::F64, Value::Real(real)) => return Some(real.to_bits()),
        (Type::F64, Value::Whole(whole)) => return Some((*whole as f64).to_bits()),
        (_, Value::Real(real)) => real.round() as i128,
        (_, Value::Whole(whole)) => *whole,
    };
    match kind {
        Type::U16 => u16::try_from(whole).ok().map(u64::from),
        Type::U32 => u32::try_from(whole).ok().map(u64::from),
        Type::U64 => u64::try_from(whole).ok(),
        Type::I16 => i16::try_from(whole).ok().map(|number| u64::from(number as u16)),
        Type::I32 => i32::try_from(whole).ok().map(|number| u64::from(number as u32)),
        Type::I64 => i64::try_from(whole).ok().map(|number| number as u64),
        Type::Bcd16 => digits(whole, 4),
        Type::Bcd32 => digits(whole, 8),
        Type::F32 | Type::F64 | Type::Bit | Type::Text => None,
    }
}

/// Text up to the first zero or the last register, without the spaces around it.
fn text(registers: &[u16], bytes: ByteOrder) -> Result<String, Unreadable> {
    let both = |register: &u16| in_order(*register, bytes).to_be_bytes();
    let mut all = Vec::with_capacity(registers.len() * 2);
    all.extend(registers.iter().flat_map(both).take_while(|byte| *byte != 0));
    let mut text = String::from_utf8(all).map_err(|_| Unreadable::NotText)?;
    text.truncate(text.trim_end().len());
    if text.starts_with(char::is_whitespace) {
        text = text.trim_start().to_owned();
    }
    Ok(text)
}

fn fill(text: &str, registers: u16, bytes: ByteOrder) -> Result<Vec<u16>, NoRoom> {
    let room = usize::from(registers) * 2;
    if text.len() > room || text.contains('\0') {
        return Err(NoRoom);
    }
    let mut padded = text.as_bytes().to_vec();
    padded.resize(room, 0);
    let join = |pair: &[u8]| match *pair {
        [first, second] => in_order(u16::from_be_bytes([first, second]), bytes),
        _ => 0,
    };
    Ok(padded.chunks(2).map(join).collect())
}

#[cfg(test)]
mod tests;
