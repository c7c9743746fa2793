//! What a point means: its name, what its numbers stand for, its unit.

use std::collections::BTreeMap;

use stencilward_domain::names::{
    BadName, CounterName, OrderName, ProductName, SlotName, StencilCode,
};

use super::At;
use crate::modbus::settings::{Code, Measured, Point, RawValue, Type};
use crate::settings::{NEVER_PASSED, WashWord, unit_fault};

pub(super) fn check(point: &Point, at: &mut At<'_>) {
    match point {
        Point::StrokeTotal(total) | Point::WipeTotal(total) => {
            if let Some((text, _)) = point.counter() {
                name(at, "counter", text, CounterName::new);
            }
            check_width(total.width, total.kind, at);
        }
        Point::BoardTotal(total) => check_width(total.width, total.kind, at),
        Point::StencilSeated(code)
        | Point::WashStencil(code)
        | Point::MeasuredStencil(code)
        | Point::AskedStencil(code) => check_code(code, StencilCode::new, at),
        Point::AskedSlot(code) => check_code(code, SlotName::new, at),
        Point::AskedOrder(code) | Point::Order(code) => check_code(code, OrderName::new, at),
        Point::OrderProduct(code) => check_code(code, ProductName::new, at),
        Point::WashProgramme(code) => check_code(code, StencilCode::new, at),
        Point::SlotCode(code) => {
            name(at, "slot", &code.slot, SlotName::new);
            check_names(code.values.as_ref(), code.kind, code.bits, StencilCode::new, at);
        }
        Point::Slot(slot) => name(at, "slot", &slot.slot, SlotName::new),
        Point::MachineState(word) => check_listed(&word.values, word.kind, word.bits, at),
        Point::WashResult(result) => {
            check_listed(&result.values, result.kind, result.bits, at);
            let passes = result.values.values().any(|word| *word == WashWord::Passed);
            if !passes && !result.values.is_empty() {
                at.tell("values", NEVER_PASSED);
            }
        }
        Point::FaultCode(code) => check_possible(&code.values, code.kind, code.bits, at),
        Point::Fault(fault) if fault.code.trim().is_empty() => {
            at.tell("code", "empty; write a short word for this fault");
        }
        Point::Measured(measured) => check_measured(measured, at),
        _ => {}
    }
}

fn check_measured(measured: &Measured, at: &mut At<'_>) {
    if measured.scale == 0.0 || !measured.scale.is_finite() {
        at.tell("scale", "must be a number other than 0");
    }
    if !measured.offset.is_finite() {
        at.tell("offset", "must be a finite number");
    }
    if measured.quantity.trim().is_empty() {
        at.tell("quantity", "empty; say what is measured, such as tension");
    }
    if let Some(wrong) = unit_fault(&measured.quantity, &measured.unit) {
        at.tell("unit", wrong);
    }
}

fn name<T>(at: &mut At<'_>, key: &str, text: &str, new: fn(&str) -> Result<T, BadName>) {
    let path = at.path(key);
    at.found.name(&path, text, new);
}

fn check_width(width: Option<u8>, kind: Type, at: &mut At<'_>) {
    let bits = kind.registers().map_or(0, |registers| registers * 16);
    match width {
        None => {}
        Some(16 | 32 | 64) if matches!(kind, Type::Bcd16 | Type::Bcd32) => {
            at.tell("width", "decimal digits wrap when they are all used; leave this key out");
        }
        Some(width @ (16 | 32 | 64)) if u16::from(width) > bits => {
            at.tell("width", format!("{} has {bits} bits and cannot count to more", kind.as_str()));
        }
        Some(16 | 32 | 64) => {}
        Some(_) => at.tell("width", "must be 16, 32 or 64"),
    }
}

fn check_code<T>(code: &Code, new: fn(&str) -> Result<T, BadName>, at: &mut At<'_>) {
    check_names(code.values.as_ref(), code.kind, code.bits, new, at);
}

fn check_names<T>(
    values: Option<&BTreeMap<RawValue, String>>,
    kind: Type,
    bits: Option<[u8; 2]>,
    new: fn(&str) -> Result<T, BadName>,
    at: &mut At<'_>,
) {
    let Some(values) = values else { return };
    if kind == Type::Text {
        return at.tell("values", "text is the name itself; leave this key out, or read a number");
    }
    for (raw, text) in values {
        match new(text) {
            Ok(_) | Err(BadName::Empty) => {}
            Err(bad) => at.tell(&format!("values.{}", raw.0), bad.to_string()),
        }
    }
    check_possible(values, kind, bits, at);
}

fn check_listed<T>(
    values: &BTreeMap<RawValue, T>,
    kind: Type,
    bits: Option<[u8; 2]>,
    at: &mut At<'_>,
) {
    if values.is_empty() {
        at.tell("values", "empty; say what each number means");
    }
    check_possible(values, kind, bits, at);
}

/// Values that the bits cannot show.
fn check_possible<T>(
    values: &BTreeMap<RawValue, T>,
    kind: Type,
    bits: Option<[u8; 2]>,
    at: &mut At<'_>,
) {
    let (least, most) = match (kind, bits) {
        (Type::U16 | Type::U32 | Type::U64, Some([first, last])) if last.abs_diff(first) < 62 => {
            (0, (1 << (u32::from(last.abs_diff(first)) + 1)) - 1)
        }
        (Type::Bit, _) => (0, 1),
        (Type::U16, _) => (0, i64::from(u16::MAX)),
        (Type::I16, _) => (i64::from(i16::MIN), i64::from(i16::MAX)),
        (Type::U32, _) => (0, i64::from(u32::MAX)),
        (Type::I32, _) => (i64::from(i32::MIN), i64::from(i32::MAX)),
        (Type::U64, _) => (0, i64::MAX),
        (Type::Bcd16, _) => (0, 9_999),
        (Type::Bcd32, _) => (0, 99_999_999),
        (Type::I64 | Type::F32 | Type::F64 | Type::Text, _) => (i64::MIN, i64::MAX),
    };
    for raw in values.keys().filter(|raw| !(least..=most).contains(&raw.0)) {
        let which = if bits.is_some() { "these bits of " } else { "" };
        let wrong = format!(
            "can never be shown: {which}{} go from {least} to {most}; drop it, or read more bits",
            kind.as_str()
        );
        at.tell(&format!("values.{}", raw.0), wrong);
    }
}
