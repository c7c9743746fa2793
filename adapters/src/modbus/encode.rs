//! From what a machine says to what its coils and registers show: the inverse of `decode`.

use std::collections::BTreeMap;

use stencilward_domain::names::{SlotName, StencilCode};
use stencilward_domain::signal::{MachineState, Measurement, Said, WashOutcome};

use super::bank::Bank;
use super::registers::{NoRoom, Value};
use super::settings::RawValue;
use super::wiring::{Gauge, Wash, Wiring};

/// Makes the bank show what is said.
///
/// # Errors
/// When the wiring maps no such signal, or the value does not fit its registers.
pub(crate) fn show(wiring: &Wiring, bank: &mut Bank, said: &Said) -> Result<(), NoRoom> {
    match said {
        Said::CounterRead { counter, raw, .. } => {
            let mut counters = wiring.counters.iter();
            let counter = counters.find(|known| known.name == *counter).ok_or(NoRoom)?;
            let raw = raw & counter.width.largest();
            counter.field.write(bank, &Value::Whole(i128::from(raw)))
        }
        Said::Seated { code } => seat(wiring, bank, Some(code)),
        Said::Removed => seat(wiring, bank, None),
        Said::SlotOccupied { slot, code } => fill_slot(wiring, bank, slot, code.as_ref()),
        Said::SlotEmptied { slot, .. } => empty_slot(wiring, bank, slot),
        Said::State { state, word } => show_state(wiring, bank, *state, word),
        Said::FaultRaised { code, .. } => fault(wiring, bank, code, true),
        Said::FaultEnded { code } => fault(wiring, bank, code, false),
        Said::WashBegan { code, .. } => {
            let wash = wiring.wash.as_ref().ok_or(NoRoom)?;
            load(wash, bank, code.as_ref())?;
            wash.running.write(bank, true);
            Ok(())
        }
        Said::WashEnded { code, outcome, measured, .. } => {
            let wash = wiring.wash.as_ref().ok_or(NoRoom)?;
            if code.is_some() {
                load(wash, bank, code.as_ref())?;
            }
            measured.iter().try_for_each(|value| gauge(wiring, bank, value))?;
            end(wash, bank, *outcome)
        }
        Said::Measured { measurement, .. } => gauge(wiring, bank, measurement),
        _ => Err(NoRoom),
    }
}

fn seat(wiring: &Wiring, bank: &mut Bank, code: Option<&StencilCode>) -> Result<(), NoRoom> {
    wiring.seat.as_ref().ok_or(NoRoom)?.write(bank, code)
}

fn fill_slot(
    wiring: &Wiring,
    bank: &mut Bank,
    slot: &SlotName,
    code: Option<&StencilCode>,
) -> Result<(), NoRoom> {
    let fields = wiring.slots.get(slot).ok_or(NoRoom)?;
    if let Some(field) = &fields.code {
        field.write(bank, code)?;
    }
    match (fields.bit, code) {
        (Some(bit), _) => bit.write(bank, true),
        (None, Some(_)) => {}
        (None, None) => return Err(NoRoom),
    }
    Ok(())
}

fn empty_slot(wiring: &Wiring, bank: &mut Bank, slot: &SlotName) -> Result<(), NoRoom> {
    let fields = wiring.slots.get(slot).ok_or(NoRoom)?;
    if let Some(bit) = fields.bit {
        bit.write(bank, false);
    }
    let code = fields.code.as_ref();
    code.map_or(Ok(()), |field| field.write(bank, None))
}

/// Shows a state by the number that is the machine's own word for it, or else by the first one
/// that means it.
fn show_state(
    wiring: &Wiring,
    bank: &mut Bank,
    state: MachineState,
    word: &str,
) -> Result<(), NoRoom> {
    let (field, meanings) = wiring.state.as_ref().ok_or(NoRoom)?;
    let meaning = |raw: &i64| {
        let listed = meanings.get(&RawValue(*raw)).copied();
        listed.unwrap_or(MachineState::Unknown)
    };
    let own = word.parse().ok().filter(|raw| meaning(raw) == state);
    let raw = own.or_else(|| raw_of(meanings, &state)).ok_or(NoRoom)?;
    field.write(bank, &Value::Whole(i128::from(raw)))
}

fn raw_of<T: PartialEq>(values: &BTreeMap<RawValue, T>, wanted: &T) -> Option<i64> {
    let mut values = values.iter();
    values.find(|(_, value)| *value == wanted).map(|(raw, _)| raw.0)
}

fn fault(wiring: &Wiring, bank: &mut Bank, code: &str, on: bool) -> Result<(), NoRoom> {
    let mut faults = wiring.faults.iter();
    let fault = faults.find(|fault| fault.code == code).ok_or(NoRoom)?;
    fault.bit.write(bank, on);
    Ok(())
}

/// Shows the stencil in the washer, where the washer shows one.
fn load(wash: &Wash, bank: &mut Bank, code: Option<&StencilCode>) -> Result<(), NoRoom> {
    let field = wash.stencil.as_ref();
    field.map_or(Ok(()), |field| field.write(bank, code))
}

fn end(wash: &Wash, bank: &mut Bank, outcome: WashOutcome) -> Result<(), NoRoom> {
    let raw = raw_of(&wash.outcomes, &outcome).ok_or(NoRoom)?;
    wash.result.write(bank, &Value::Whole(i128::from(raw)))?;
    wash.running.write(bank, false);
    Ok(())
}

fn gauge(wiring: &Wiring, bank: &mut Bank, measured: &Measurement) -> Result<(), NoRoom> {
    let same = |gauge: &&Gauge| gauge.quantity == measured.quantity && gauge.unit == measured.unit;
    let gauge = wiring.measured.iter().find(same).ok_or(NoRoom)?;
    let raw = (measured.value - gauge.offset) / gauge.scale;
    gauge.field.write(bank, &Value::Real(raw))
}

#[cfg(test)]
mod tests;
