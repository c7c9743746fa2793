//! From what a machine says to what its coils and registers show: the inverse of `decode`.

mod parts;

use std::collections::BTreeMap;

use stencilward_domain::names::{OrderName, SlotName, StencilCode};
use stencilward_domain::signal::{MachineState, Measurement, OrderSpec, Said, WashOutcome};

use super::bank::Bank;
use super::registers::{NoRoom, Value};
use super::settings::RawValue;
use super::wiring::{Gauge, Wash, Wiring};

use parts::{board_total, fault, question, show_name, take_measurement};
pub(super) use parts::{move_life_sign, take_question_back};

/// Makes the bank show what is said.
///
/// # Errors
/// When the wiring maps no such signal, or the value does not fit its registers.
pub(crate) fn show(wiring: &Wiring, bank: &mut Bank, said: &Said) -> Result<(), NoRoom> {
    move_life_sign(wiring, bank);
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
        Said::WashBegan { code, programme } => {
            let wash = wiring.wash.as_ref().ok_or(NoRoom)?;
            load(wash, bank, code.as_ref(), programme.as_deref())?;
            wash.running.write(bank, true);
            Ok(())
        }
        Said::WashEnded { code, programme, outcome, measured } => {
            let wash = wiring.wash.as_ref().ok_or(NoRoom)?;
            if code.is_some() {
                load(wash, bank, code.as_ref(), programme.as_deref())?;
            }
            measured.iter().try_for_each(|value| gauge(wiring, bank, value))?;
            end(wash, bank, *outcome)
        }
        Said::Measured { code, measurement } => {
            gauge(wiring, bank, measurement)?;
            take_measurement(wiring, bank, code.as_ref())
        }
        Said::StoreAsked { code, slot } => {
            let slot = slot.as_ref().map(SlotName::as_str);
            question(wiring, bank, code, slot, |ask| ask.store, |ask| ask.slot.as_ref())
        }
        Said::TakeAsked { code, order, destination: None } => {
            let order = order.as_ref().map(OrderName::as_str);
            question(wiring, bank, code, order, |ask| ask.take, |ask| ask.order.as_ref())
        }
        Said::OrderStarted(spec) => start_order(wiring, bank, spec),
        Said::OrderFinished { made, .. } => finish_order(wiring, bank, *made),
        Said::BoardsCounted { count } => board_total(wiring, bank, *count),
        _ => Err(NoRoom),
    }
}

fn seat(wiring: &Wiring, bank: &mut Bank, code: Option<&StencilCode>) -> Result<(), NoRoom> {
    let seat = &wiring.seat;
    if let Some(present) = seat.present {
        present.write(bank, code.is_some());
    }
    match (&seat.code, seat.present, code) {
        (Some(field), _, code) => field.write(bank, code.map(StencilCode::as_str)),
        // It shows that there is one, as far as it shows anything.
        (None, Some(_), _) => Ok(()),
        (None, None, _) => Err(NoRoom),
    }
}

fn fill_slot(
    wiring: &Wiring,
    bank: &mut Bank,
    slot: &SlotName,
    code: Option<&StencilCode>,
) -> Result<(), NoRoom> {
    let fields = wiring.slots.get(slot).ok_or(NoRoom)?;
    show_name(fields.code.as_ref(), bank, code.map(StencilCode::as_str))?;
    match (fields.occupied, code) {
        (Some(flag), _) => flag.write(bank, true),
        (None, Some(_)) => {}
        (None, None) => return Err(NoRoom),
    }
    Ok(())
}

fn empty_slot(wiring: &Wiring, bank: &mut Bank, slot: &SlotName) -> Result<(), NoRoom> {
    let fields = wiring.slots.get(slot).ok_or(NoRoom)?;
    if let Some(flag) = fields.occupied {
        flag.write(bank, false);
    }
    show_name(fields.code.as_ref(), bank, None)
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

/// Shows what is in the washer, as far as the washer shows it.
fn load(
    wash: &Wash,
    bank: &mut Bank,
    code: Option<&StencilCode>,
    programme: Option<&str>,
) -> Result<(), NoRoom> {
    show_name(wash.stencil.as_ref(), bank, code.map(StencilCode::as_str))?;
    show_name(wash.programme.as_ref(), bank, programme)
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

fn start_order(wiring: &Wiring, bank: &mut Bank, spec: &OrderSpec) -> Result<(), NoRoom> {
    let order = wiring.order.as_ref().ok_or(NoRoom)?;
    let product = spec.product.as_ref().map(|product| product.as_str());
    show_name(order.product.as_ref(), bank, product)?;
    let numbers = [(order.quantity, spec.quantity.unwrap_or_default()), (order.made, 0)];
    for (field, number) in numbers {
        if let Some(field) = field {
            field.write(bank, &Value::Whole(i128::from(number)))?;
        }
    }
    if let Some(running) = order.running {
        running.write(bank, true);
    }
    order.name.write(bank, Some(spec.order.as_str()))
}

/// Shows that the order is done: by its bit where there is one, and else by no name.
fn finish_order(wiring: &Wiring, bank: &mut Bank, made: Option<u64>) -> Result<(), NoRoom> {
    let order = wiring.order.as_ref().ok_or(NoRoom)?;
    if let (Some(field), Some(made)) = (order.made, made) {
        field.write(bank, &Value::Whole(i128::from(made)))?;
    }
    match order.running {
        Some(running) => {
            running.write(bank, false);
            Ok(())
        }
        None => order.name.write(bank, None),
    }
}

#[cfg(test)]
mod tests;
