//! Measured values: told when they change, or when the machine says that they are valid.

use std::collections::BTreeMap;

use stencilward_domain::names::StencilCode;
use stencilward_domain::signal::{Measurement, Said};

use super::{Round, name};
use crate::link::Trouble;
use crate::modbus::bank::Bank;
use crate::modbus::registers::Value;
use crate::modbus::wiring::{self, Gauge};

/// The values that were told.
#[derive(Debug, Clone, Default)]
pub(super) struct Gauges(BTreeMap<usize, f64>);

impl Gauges {
    /// Each value that has changed.
    pub(super) fn step(&mut self, gauges: &[Gauge], bank: &Bank, round: &mut Round) {
        for (index, gauge) in gauges.iter().enumerate() {
            let Some(measurement) = checked(gauge, bank, round) else {
                continue;
            };
            let value = measurement.value;
            if self.0.insert(index, value) != Some(value) {
                round.said.push(Said::Measured { code: None, measurement });
            }
        }
    }
}

/// Whether the values that are shown were told. It is kept while the link is lost.
#[derive(Debug, Clone, Default)]
pub(super) struct Station(bool);

impl Station {
    /// All values, once each time that they become valid.
    pub(super) fn step(
        &mut self,
        station: &wiring::Station,
        gauges: &[Gauge],
        bank: &Bank,
        round: &mut Round,
    ) {
        let Some(valid) = station.taken.read(bank) else {
            return;
        };
        if std::mem::replace(&mut self.0, valid) || !valid {
            return;
        }
        let code = station.stencil.as_ref().and_then(|field| {
            name(field, bank, StencilCode::new, "measured-stencil", &mut round.troubles)?
        });
        for gauge in gauges {
            if let Some(measurement) = checked(gauge, bank, round) {
                round.said.push(Said::Measured { code: code.clone(), measurement });
            }
        }
    }
}

/// All values that are there and finite.
pub(crate) fn measurements(gauges: &[Gauge], bank: &Bank) -> Vec<Measurement> {
    let measured = gauges.iter();
    measured.filter_map(|gauge| measurement(gauge, bank)?).collect()
}

/// A value that was read; none after noting a trouble when it is no finite number.
fn checked(gauge: &Gauge, bank: &Bank, round: &mut Round) -> Option<Measurement> {
    let measurement = measurement(gauge, bank)?;
    if measurement.is_none() {
        let wrong = format!("{}: the registers hold no finite number", gauge.quantity);
        round.troubles.push((Trouble::Senseless, wrong));
    }
    measurement
}

/// A value that was read, none in it when it is no finite number.
fn measurement(gauge: &Gauge, bank: &Bank) -> Option<Option<Measurement>> {
    let raw = match gauge.field.read(bank)? {
        Ok(Value::Whole(whole)) => whole as f64,
        Ok(Value::Real(real)) => real,
        Ok(Value::Text(_)) | Err(_) => return Some(None),
    };
    let value = raw * gauge.scale + gauge.offset;
    Some(value.is_finite().then(|| Measurement {
        quantity: gauge.quantity.clone(),
        value,
        unit: gauge.unit.clone(),
    }))
}
