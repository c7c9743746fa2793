//! Points: layouts that do not fit, names used twice, points that need each other.

use std::collections::BTreeMap;

use stencilward_domain::names::{BadName, CounterName, SlotName, StencilCode};

use super::{Found, Once};
use crate::modbus::settings::{ByteOrder, Point, RawValue, Total, Type, WordOrder};
use crate::settings::unit_fault;

const COUNTERS: &[Type] = &[Type::U16, Type::U32, Type::U64];
const CODES: &[Type] = &[Type::Text, Type::U16, Type::U32, Type::U64];
const WHOLE: &[Type] = &[Type::U16, Type::I16, Type::U32, Type::I32, Type::U64, Type::I64];
const NUMBERS: &[Type] =
    &[Type::U16, Type::I16, Type::U32, Type::I32, Type::U64, Type::I64, Type::F32];

/// One point under scrutiny.
struct At<'a> {
    index: usize,
    found: &'a mut Found,
}

impl At<'_> {
    fn path(&self, key: &str) -> String {
        format!("points[{}].{key}", self.index)
    }

    fn tell(&mut self, key: &str, wrong: impl Into<String>) {
        let path = self.path(key);
        self.found.tell(path, wrong);
    }
}

pub(super) fn check(points: &[Point], found: &mut Found) {
    let mut once = Once::default();
    for (index, point) in points.iter().enumerate() {
        let mut at = At { index, found };
        check_layout(point, &mut at);
        check_meaning(point, &mut at);
        let (key, what) = identity(point);
        let path = at.path(key);
        if let Some(what) = what {
            once.see(what, &path, found);
        }
    }
    check_wash(points, found);
}

/// What a point is that no other may be, and the key that says so.
fn identity(point: &Point) -> (&'static str, Option<String>) {
    let signal = |word: &str| ("signal", Some(format!("the signal {word}")));
    match point {
        Point::StrokeTotal(_) | Point::WipeTotal(_) => {
            let name = point.counter().map(|(name, _)| name.trim());
            ("counter", name.map(|name| format!("counter {name:?}")))
        }
        Point::StrokeContact(_) => signal("stroke-contact"),
        Point::StencilSeated(_) => signal("stencil-seated"),
        Point::MachineState(_) => signal("machine-state"),
        Point::Fault(fault) => ("code", Some(format!("fault {:?}", fault.code))),
        Point::Slot(slot) => ("slot", Some(format!("slot {:?}", slot.slot.trim()))),
        Point::SlotCode(code) => ("slot", Some(format!("the code of slot {:?}", code.slot.trim()))),
        Point::WashRunning(_) => signal("wash-running"),
        Point::WashResult(_) => signal("wash-result"),
        Point::WashStencil(_) => signal("wash-stencil"),
        Point::Measured(_) => ("quantity", None),
    }
}

fn check_layout(point: &Point, at: &mut At<'_>) {
    match point {
        Point::StrokeTotal(p) | Point::WipeTotal(p) => number(at, p.kind, p.words, p.at, COUNTERS),
        Point::MachineState(p) => number(at, p.kind, p.words, p.at, WHOLE),
        Point::WashResult(p) => number(at, p.kind, p.words, p.at, WHOLE),
        Point::Measured(p) => number(at, p.kind, p.words, p.at, NUMBERS),
        Point::StencilSeated(p) | Point::WashStencil(p) => {
            number(at, p.kind, p.words, p.at, CODES);
            text(at, p.kind, p.at, p.registers, p.bytes, p.values.is_some());
        }
        Point::SlotCode(p) => {
            number(at, p.kind, p.words, p.at, CODES);
            text(at, p.kind, p.at, p.registers, p.bytes, p.values.is_some());
        }
        Point::StrokeContact(_) | Point::Fault(_) | Point::Slot(_) | Point::WashRunning(_) => {}
    }
}

fn number(at: &mut At<'_>, kind: Type, words: Option<WordOrder>, first: u16, allowed: &[Type]) {
    if !allowed.contains(&kind) {
        let words: Vec<&str> = allowed.iter().map(|kind| kind.as_str()).collect();
        let words = words.join(", ");
        at.tell("type", format!("{} does not fit this signal; allowed: {words}", kind.as_str()));
    }
    let registers = kind.registers();
    match (words, registers) {
        (None, Some(2..)) => at.tell(
            "words",
            format!(
                "missing: {} takes several registers, and the protocol does not say which comes \
                 first; the machine's manual must: high-first or low-first",
                kind.as_str()
            ),
        ),
        (Some(_), Some(..2) | None) => {
            at.tell("words", format!("{} has no order of words; leave this key out", kind.as_str()))
        }
        _ => {}
    }
    if let Some(registers) = registers {
        range(at, first, registers);
    }
}

fn text(
    at: &mut At<'_>,
    kind: Type,
    first: u16,
    registers: Option<u16>,
    bytes: Option<ByteOrder>,
    values: bool,
) {
    match (kind, registers) {
        (Type::Text, None) => {
            at.tell("registers", "missing: say how many registers the text takes, 1 to 125")
        }
        (Type::Text, Some(registers)) if (1..=125).contains(&registers) => {
            range(at, first, registers);
        }
        (Type::Text, Some(_)) => at.tell("registers", "must be 1 to 125"),
        (_, Some(_)) => at.tell("registers", "only text has a length; leave this key out"),
        (_, None) => {}
    }
    if kind != Type::Text && bytes.is_some() {
        at.tell("bytes", "only text has an order of characters; leave this key out");
    }
    if kind == Type::Text && values {
        at.tell("values", "text is the code itself; leave this key out, or read a number");
    }
}

fn range(at: &mut At<'_>, first: u16, registers: u16) {
    if first.checked_add(registers - 1).is_none() {
        at.tell(
            "at",
            format!("{registers} registers from {first} run past 65535, the last address"),
        );
    }
}

fn check_meaning(point: &Point, at: &mut At<'_>) {
    match point {
        Point::StrokeTotal(total) | Point::WipeTotal(total) => {
            if let Some((text, _)) = point.counter() {
                name(at, "counter", text, CounterName::new);
            }
            check_width(total, at);
        }
        Point::StencilSeated(code) | Point::WashStencil(code) => {
            check_codes(code.values.as_ref(), code.kind, at);
        }
        Point::SlotCode(code) => {
            name(at, "slot", &code.slot, SlotName::new);
            check_codes(code.values.as_ref(), code.kind, at);
        }
        Point::Slot(slot) => name(at, "slot", &slot.slot, SlotName::new),
        Point::MachineState(word) => check_listed(&word.values, word.kind, at),
        Point::WashResult(result) => check_listed(&result.values, result.kind, at),
        Point::Fault(fault) if fault.code.trim().is_empty() => {
            at.tell("code", "empty; write a short word for this fault");
        }
        Point::Measured(measured) => {
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
        Point::StrokeContact(_) | Point::Fault(_) | Point::WashRunning(_) => {}
    }
}

fn name<T>(at: &mut At<'_>, key: &str, text: &str, new: fn(&str) -> Result<T, BadName>) {
    let path = at.path(key);
    at.found.name(&path, text, new);
}

fn check_width(total: &Total, at: &mut At<'_>) {
    let bits = total.kind.registers().map_or(0, |registers| registers * 16);
    match total.width {
        None => {}
        Some(width @ (16 | 32 | 64)) if u16::from(width) > bits => at.tell(
            "width",
            format!("{} has {bits} bits and cannot count to more", total.kind.as_str()),
        ),
        Some(16 | 32 | 64) => {}
        Some(_) => at.tell("width", "must be 16, 32 or 64"),
    }
}

fn check_codes(values: Option<&BTreeMap<RawValue, String>>, kind: Type, at: &mut At<'_>) {
    for (raw, text) in values.into_iter().flatten() {
        let key = format!("values.{}", raw.0);
        match StencilCode::new(text) {
            Ok(_) | Err(BadName::Empty) => {}
            Err(bad) => at.tell(&key, bad.to_string()),
        }
        check_possible(*raw, kind, at);
    }
}

fn check_listed<T>(values: &BTreeMap<RawValue, T>, kind: Type, at: &mut At<'_>) {
    if values.is_empty() {
        at.tell("values", "empty; say what each number means");
    }
    for raw in values.keys() {
        check_possible(*raw, kind, at);
    }
}

fn check_possible(raw: RawValue, kind: Type, at: &mut At<'_>) {
    let (least, most) = match kind {
        Type::U16 => (0, i64::from(u16::MAX)),
        Type::I16 => (i64::from(i16::MIN), i64::from(i16::MAX)),
        Type::U32 => (0, i64::from(u32::MAX)),
        Type::I32 => (i64::from(i32::MIN), i64::from(i32::MAX)),
        Type::U64 => (0, i64::MAX),
        Type::I64 | Type::F32 | Type::Text => (i64::MIN, i64::MAX),
    };
    if !(least..=most).contains(&raw.0) {
        let key = format!("values.{}", raw.0);
        at.tell(&key, format!("{} goes from {least} to {most}", kind.as_str()));
    }
}

fn check_wash(points: &[Point], found: &mut Found) {
    let place = |is: fn(&Point) -> bool| points.iter().position(is);
    let running = place(|point| matches!(point, Point::WashRunning(_)));
    let result = place(|point| matches!(point, Point::WashResult(_)));
    let stencil = place(|point| matches!(point, Point::WashStencil(_)));
    if let (Some(index), None) = (running, result) {
        found.tell(
            format!("points[{index}]"),
            "wash-running needs a wash-result beside it: how a wash ended decides whether the \
             stencil may be stored",
        );
    }
    for (index, word) in [(result, "wash-result"), (stencil, "wash-stencil")] {
        if let (Some(index), None) = (index, running) {
            let wrong = format!("{word} tells nothing without wash-running beside it");
            found.tell(format!("points[{index}]"), wrong);
        }
    }
}
