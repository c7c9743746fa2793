//! Registers read in every plausible way, side by side.

use crate::modbus::registers::{Format, Number, Value};
use crate::modbus::settings::{ByteOrder, Layout, Type, WordOrder};

/// Registers that numbers take.
const SIZES: [u16; 3] = [1, 2, 4];

const ALL_ZERO: &str = "0 in every reading: see whether the machine has something to show here, and \
                        whether table and address are right";

/// Floats smaller or larger than this are no measured value.
const PLAUSIBLE: std::ops::RangeInclusive<f64> = 1e-9..=1e12;

/// What a point holds as its settings say, behind what was read.
pub(super) fn configured(layout: &Layout, held: &[u16], length: u16) -> String {
    let own = &held[..usize::from(length).min(held.len())];
    match layout {
        Layout::Bit { bit, .. } => {
            let word = own.first().copied().unwrap_or_default();
            let on = word >> bit.unwrap_or(0) & 1 == 1;
            if on { "on".to_owned() } else { "off".to_owned() }
        }
        Layout::Value { kind, words, bytes, bits, registers } => {
            let words = words.unwrap_or(WordOrder::HighFirst);
            let bytes = bytes.unwrap_or(ByteOrder::HighFirst);
            let format = if *kind == Type::Text {
                Format::Text { registers: registers.unwrap_or(length), bytes }
            } else {
                Format::Number(Number { kind: *kind, words, bytes, bits: *bits })
            };
            let value = format.decode(own).map_or_else(|error| error.to_string(), shown);
            format!("{value} as {} ({})", kind.as_str(), hexadecimal(own))
        }
    }
}

/// What the same registers, and those behind them, would be as anything else.
pub(super) fn others(layout: &Layout, held: &[u16]) -> Vec<String> {
    if held.iter().all(|register| *register == 0) {
        return vec![ALL_ZERO.to_owned()];
    }
    let is_text = matches!(layout, Layout::Value { kind: Type::Text, .. });
    let sizes = SIZES.iter().filter(|_| !is_text);
    let mut lines: Vec<String> = sizes.filter_map(|size| of_size(*size, held)).collect();
    for (bytes, order) in ORDERS {
        let registers = u16::try_from(held.len()).unwrap_or(u16::MAX);
        if let Ok(Value::Text(text)) = (Format::Text { registers, bytes }).decode(held)
            && !text.is_empty()
            && text.chars().all(|letter| letter.is_ascii_graphic() || letter == ' ')
        {
            lines.push(format!("text, bytes {order}: {text:?}"));
        }
    }
    lines
}

const ORDERS: [(ByteOrder, &str); 2] =
    [(ByteOrder::HighFirst, "high-first"), (ByteOrder::LowFirst, "low-first")];

fn of_size(size: u16, held: &[u16]) -> Option<String> {
    let own = held.get(..usize::from(size))?;
    let mut parts = vec![hexadecimal(own)];
    for (words, word_order) in
        [(WordOrder::HighFirst, "words high-first"), (WordOrder::LowFirst, "words low-first")]
    {
        if size == 1 && words == WordOrder::LowFirst {
            continue;
        }
        for (bytes, byte_order) in ORDERS {
            let kinds = Type::NUMBERS.into_iter().filter(|kind| kind.registers() == Some(size));
            let read = kinds.filter_map(|kind| {
                let number = Number { kind, words, bytes, bits: None };
                let value = Format::Number(number).decode(own).ok()?;
                plausible(&value).then(|| format!("{} {}", kind.as_str(), shown(value)))
            });
            let read: Vec<String> = read.collect();
            let order = match (size, bytes) {
                (1, ByteOrder::HighFirst) => String::new(),
                (1, _) => format!("bytes {byte_order}: "),
                (_, ByteOrder::HighFirst) => format!("{word_order}: "),
                _ => format!("{word_order}, bytes {byte_order}: "),
            };
            parts.push(format!("{order}{}", read.join(", ")));
        }
    }
    Some(parts.join("; "))
}

fn plausible(value: &Value) -> bool {
    match value {
        Value::Real(real) => *real == 0.0 || PLAUSIBLE.contains(&real.abs()),
        Value::Whole(_) | Value::Text(_) => true,
    }
}

fn shown(value: Value) -> String {
    match value {
        Value::Whole(whole) => whole.to_string(),
        Value::Real(real) => real.to_string(),
        Value::Text(text) => format!("{text:?}"),
    }
}

fn hexadecimal(words: &[u16]) -> String {
    words.iter().map(|word| format!("{word:04X}")).collect::<Vec<_>>().join(" ")
}

#[cfg(test)]
mod tests {
    use super::*;

    fn laid_out(kind: Type) -> Layout {
        Layout::Value { kind, words: None, bytes: None, bits: None, registers: None }
    }

    #[test]
    fn zeros_and_text_are_told_in_short() {
        assert_eq!(others(&laid_out(Type::U32), &[0, 0, 0, 0]), [ALL_ZERO]);
        let lines = others(&laid_out(Type::Text), &[0x5354, 0x2D31]);
        assert!(lines.iter().all(|line| line.starts_with("text, ")), "{lines:?}");
    }

    /// 70,000 = 0x0001_1170.
    #[test]
    fn a_total_shows_in_each_order() {
        let lines = others(&laid_out(Type::U32), &[0x0001, 0x1170]);
        assert_eq!(
            lines[0],
            "0001; u16 1, i16 1, bcd16 1; bytes low-first: u16 256, i16 256, bcd16 100"
        );
        assert!(lines[1].starts_with("0001 1170; words high-first: u32 70000, i32 70000"));
        assert!(lines[1].contains("words low-first: u32 292552705, i32 292552705"), "{}", lines[1]);
        assert_eq!(lines.len(), 2, "no number of four registers, and no text");
    }

    /// IEEE 754: 25.0 is 0x41C8_0000.
    #[test]
    fn a_float_that_is_none_is_not_shown() {
        let lines = others(&laid_out(Type::F32), &[0x41C8, 0x0000]);
        assert!(lines[1].contains("words high-first: u32 1103626240, i32 1103626240, f32 25;"));
        assert!(!lines[1].contains("words low-first: u32 16840, i32 16840, f32"), "{}", lines[1]);
    }

    #[test]
    fn a_code_shows_as_text() {
        let lines = others(&laid_out(Type::U16), &[0x5354, 0x2D31, 0, 0]);
        assert!(lines.contains(&"text, bytes high-first: \"ST-1\"".to_owned()), "{lines:?}");
    }
}
