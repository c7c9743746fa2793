//! How a point is laid out: its type, its orders, its bits, its length.

use super::At;
use crate::modbus::settings::{ByteOrder, Layout, Place, Point, Type, WordOrder};

const COUNTERS: &[Type] = &[Type::U16, Type::U32, Type::U64, Type::Bcd16, Type::Bcd32];
const NAMES: &[Type] = &[Type::Text, Type::U16, Type::U32, Type::U64, Type::Bcd16, Type::Bcd32];
const WHOLE: &[Type] = &[
    Type::U16,
    Type::I16,
    Type::U32,
    Type::I32,
    Type::U64,
    Type::I64,
    Type::Bcd16,
    Type::Bcd32,
    Type::Bit,
];

/// The keys of a value that say how it is laid out.
struct Value {
    kind: Type,
    words: Option<WordOrder>,
    bytes: Option<ByteOrder>,
    bits: Option<[u8; 2]>,
    registers: Option<u16>,
}

pub(super) fn check(point: &Point, at: &mut At<'_>) {
    let place = point.place();
    match place.layout {
        Layout::Bit { bit, .. } => check_bit(&place, bit, at),
        Layout::Value { kind, words, bytes, bits, registers } => {
            let value = Value { kind, words, bytes, bits, registers };
            check_type(&place, kind, allowed(point), at);
            check_words(&value, at);
            check_bytes(&value, at);
            check_bits(&value, at);
            check_length(&value, at);
            if counts(point) && bits.is_some() {
                at.tell("bits", "a counter is a whole number; leave this key out");
            }
        }
    }
}

fn counts(point: &Point) -> bool {
    matches!(point, Point::StrokeTotal(_) | Point::WipeTotal(_) | Point::BoardTotal(_))
}

fn allowed(point: &Point) -> &'static [Type] {
    match point {
        Point::StrokeTotal(_)
        | Point::WipeTotal(_)
        | Point::BoardTotal(_)
        | Point::OrderQuantity(_)
        | Point::OrderMade(_) => COUNTERS,
        Point::Measured(_) => &Type::NUMBERS,
        Point::MachineState(_)
        | Point::LifeSign(_)
        | Point::FaultCode(_)
        | Point::WashResult(_) => WHOLE,
        _ => NAMES,
    }
}

fn check_bit(place: &Place, bit: Option<u8>, at: &mut At<'_>) {
    match (place.table.registers(), bit) {
        (Some(_), None) => {
            at.tell("bit", "missing: say which bit of the register, 0 to 15; 0 is worth 1");
        }
        (Some(_), Some(16..)) => at.tell("bit", "a register has the bits 0 to 15"),
        (None, Some(_)) => at.tell(
            "bit",
            format!("the table {} has single bits; leave this key out", place.table.as_str()),
        ),
        _ => {}
    }
}

fn check_type(place: &Place, kind: Type, allowed: &[Type], at: &mut At<'_>) {
    let words: Vec<&str> = allowed.iter().map(|kind| kind.as_str()).collect();
    let (words, own) = (words.join(", "), kind.as_str());
    if !allowed.contains(&kind) {
        at.tell("type", format!("{own} does not fit this signal; allowed: {words}"));
    } else if kind == Type::Bit && place.table.registers().is_some() {
        let wrong = "a register has more than one bit; write type: u16 with bits: [3, 3] for bit 3";
        at.tell("type", wrong);
    } else if kind != Type::Bit && place.table.bits().is_some() {
        let table = place.table.as_str();
        let remedy = if allowed.contains(&Type::Bit) {
            "write type: bit"
        } else {
            "this signal needs a register: set table to input or holding"
        };
        at.tell("type", format!("the table {table} has single bits and no {own}; {remedy}"));
    }
}

fn check_words(value: &Value, at: &mut At<'_>) {
    let kind = value.kind.as_str();
    match (value.words, value.kind.registers()) {
        (None, Some(2..)) => at.tell(
            "words",
            format!(
                "missing: {kind} takes several registers, and the protocol does not say which \
                 comes first; the machine's manual must: high-first or low-first"
            ),
        ),
        (Some(_), Some(..2) | None) => {
            at.tell("words", format!("{kind} has no order of words; leave this key out"));
        }
        _ => {}
    }
}

fn check_bytes(value: &Value, at: &mut At<'_>) {
    if value.kind == Type::Bit && value.bytes.is_some() {
        at.tell("bytes", "a bit has no order of bytes; leave this key out");
    }
}

fn check_bits(value: &Value, at: &mut At<'_>) {
    let Some([first, last]) = value.bits else {
        return;
    };
    let size = match value.kind {
        Type::U16 => 16,
        Type::U32 => 32,
        Type::U64 => 64,
        other => {
            let kind = other.as_str();
            return at.tell(
                "bits",
                format!("only u16, u32 and u64 are read in part, not {kind}; leave this key out"),
            );
        }
    };
    if first > last || last >= size {
        let (kind, most) = (value.kind.as_str(), size - 1);
        at.tell(
            "bits",
            format!("write the lower bit first and then the higher one; {kind} has 0 to {most}"),
        );
    }
}

fn check_length(value: &Value, at: &mut At<'_>) {
    match (value.kind, value.registers) {
        (Type::Text, None) => {
            at.tell("registers", "missing: say how many registers the text takes, 1 to 125");
        }
        (Type::Text, Some(registers)) if !(1..=125).contains(&registers) => {
            at.tell("registers", "must be 1 to 125");
        }
        (Type::Text, Some(_)) | (_, None) => {}
        (_, Some(_)) => at.tell("registers", "only text has a length; leave this key out"),
    }
}
