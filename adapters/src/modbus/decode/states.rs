//! What the machine is doing, and its faults.

use std::collections::BTreeMap;

use stencilward_domain::signal::{MachineState, Said};

use super::{Round, whole};
use crate::modbus::bank::Bank;
use crate::modbus::settings::RawValue;
use crate::modbus::wiring::{Field, Wiring};

/// What was told of states and faults.
#[derive(Debug, Clone, Default)]
pub(super) struct States {
    state: Option<i128>,
    faults: BTreeMap<String, bool>,
    /// The number of the fault that is present.
    fault_code: Option<i128>,
}

impl States {
    pub(super) fn step(&mut self, wiring: &Wiring, bank: &Bank, round: &mut Round) {
        if let Some((field, meanings)) = &wiring.state {
            self.state(*field, meanings, bank, round);
        }
        self.faults(wiring, bank, round);
        if let Some((field, meanings)) = &wiring.fault_code {
            self.fault_code(*field, meanings, bank, round);
        }
    }

    fn state(
        &mut self,
        field: Field,
        meanings: &BTreeMap<RawValue, MachineState>,
        bank: &Bank,
        round: &mut Round,
    ) {
        let Some(raw) = whole(field, bank, "machine-state", &mut round.troubles) else {
            return;
        };
        if self.state.replace(raw) != Some(raw) {
            let state = listed(meanings, raw).copied().unwrap_or(MachineState::Unknown);
            round.said.push(Said::State { state, word: raw.to_string() });
        }
    }

    fn faults(&mut self, wiring: &Wiring, bank: &Bank, round: &mut Round) {
        for fault in &wiring.faults {
            let Some(on) = fault.flag.read(bank) else {
                continue;
            };
            let code = fault.code.clone();
            if self.faults.insert(code.clone(), on) == Some(on) {
                continue;
            }
            round.said.push(if on {
                Said::FaultRaised { code, text: fault.text.clone() }
            } else {
                Said::FaultEnded { code }
            });
        }
    }

    /// The number of the fault that is present. Another number ends the one before.
    fn fault_code(
        &mut self,
        field: Field,
        meanings: &BTreeMap<RawValue, String>,
        bank: &Bank,
        round: &mut Round,
    ) {
        let Some(raw) = whole(field, bank, "fault-code", &mut round.troubles) else {
            return;
        };
        let text = |raw: i128| match (listed(meanings, raw), raw) {
            (None, 0) => None,
            (None, raw) => Some(format!("fault {raw} of the machine's list")),
            (Some(text), _) => Some(text.clone()).filter(|text| !text.trim().is_empty()),
        };
        let before = self.fault_code.replace(raw);
        if before == Some(raw) {
            return;
        }
        if let Some(before) = before.filter(|before| text(*before).is_some()) {
            round.said.push(Said::FaultEnded { code: before.to_string() });
        }
        if let Some(text) = text(raw) {
            round.said.push(Said::FaultRaised { code: raw.to_string(), text });
        }
    }
}

fn listed<T>(values: &BTreeMap<RawValue, T>, raw: i128) -> Option<&T> {
    values.get(&RawValue(i64::try_from(raw).ok()?))
}
