//! The signals that take more than one place to show.

use stencilward_domain::names::StencilCode;

use super::{NoRoom, raw_of};
use crate::modbus::bank::Bank;
use crate::modbus::registers::Value;
use crate::modbus::wiring::{Ask, Flag, NameField, Wiring};

/// Shows a name where the machine shows one at all.
pub(super) fn show_name(
    field: Option<&NameField>,
    bank: &mut Bank,
    name: Option<&str>,
) -> Result<(), NoRoom> {
    field.map_or(Ok(()), |field| field.write(bank, name))
}

/// Shows that the machine is alive: its number becomes another one.
pub(in crate::modbus) fn move_life_sign(wiring: &Wiring, bank: &mut Bank) {
    if let Some(life) = wiring.life {
        let now = match life.field.read(bank) {
            Some(Ok(Value::Whole(now))) => now,
            _ => 0,
        };
        // A number that is full begins again.
        if life.field.write(bank, &Value::Whole(now + 1)).is_err() {
            let _ = life.field.write(bank, &Value::Whole(0));
        }
    }
}

/// Shows a fault by its bit, or by its number in the machine's list.
pub(super) fn fault(wiring: &Wiring, bank: &mut Bank, code: &str, on: bool) -> Result<(), NoRoom> {
    if let Some(fault) = wiring.faults.iter().find(|fault| fault.code == code) {
        fault.flag.write(bank, on);
        return Ok(());
    }
    let (field, texts) = wiring.fault_code.as_ref().ok_or(NoRoom)?;
    let raw: i128 = code.parse().map_err(|_| NoRoom)?;
    let none = raw_of(texts, &String::new()).unwrap_or_default();
    field.write(bank, &Value::Whole(if on { raw } else { i128::from(none) }))
}

/// Takes back a question that stands; tells whether there was one.
pub(in crate::modbus) fn take_question_back(wiring: &Wiring, bank: &mut Bank) -> bool {
    let asks = wiring.ask.iter().flat_map(|ask| [ask.store, ask.take]).flatten();
    let mut stood = false;
    for flag in asks {
        stood |= flag.read(bank) == Some(true);
        flag.write(bank, false);
    }
    stood
}

/// Shows a question: lowers its bit first if it is up, so that the same one can be asked again.
pub(super) fn question(
    wiring: &Wiring,
    bank: &mut Bank,
    code: &StencilCode,
    detail: Option<&str>,
    flag: fn(&Ask) -> Option<Flag>,
    field: fn(&Ask) -> Option<&NameField>,
) -> Result<(), NoRoom> {
    let ask = wiring.ask.as_ref().ok_or(NoRoom)?;
    let raised = flag(ask).ok_or(NoRoom)?;
    for flag in [ask.store, ask.take].into_iter().flatten() {
        flag.write(bank, false);
    }
    ask.stencil.write(bank, Some(code.as_str()))?;
    show_name(field(ask), bank, detail)?;
    raised.write(bank, true);
    Ok(())
}

/// Shows that a value is valid, where the machine shows that, and on which stencil.
pub(super) fn take_measurement(
    wiring: &Wiring,
    bank: &mut Bank,
    code: Option<&StencilCode>,
) -> Result<(), NoRoom> {
    match (&wiring.station, code) {
        (Some(station), code) => {
            show_name(station.stencil.as_ref(), bank, code.map(StencilCode::as_str))?;
            station.taken.write(bank, true);
            Ok(())
        }
        (None, Some(_)) => Err(NoRoom),
        (None, None) => Ok(()),
    }
}

/// Lets the total of boards grow; it begins again at zero after its largest value.
pub(super) fn board_total(wiring: &Wiring, bank: &mut Bank, count: u64) -> Result<(), NoRoom> {
    let boards = wiring.boards.ok_or(NoRoom)?;
    let before = match boards.field.read(bank) {
        Some(Ok(Value::Whole(before))) => before,
        _ => 0,
    };
    let total = (before + i128::from(count)) % (i128::from(boards.largest) + 1);
    boards.field.write(bank, &Value::Whole(total))
}
