//! What machines say of themselves: their state and their faults.

use serde_json::{Map, Value};
use stencilward_domain::signal::{MachineState, Said};

use super::{Heard, Reader};
use crate::cfx::json::{clipped, get, object, shortened, text};
use crate::cfx::settings::Signal;
use crate::link::Trouble;

/// Most faults of one machine that are remembered.
const FAULTS_KEPT: usize = 1_024;

type Body = Map<String, Value>;

impl Reader {
    pub(super) fn state_changed(&self, body: &Body, heard: &mut Heard) {
        if !self.reads(Signal::MachineState) {
            return;
        }
        match get(body, "NewState").map(|state| (state, code(state))) {
            Some((_, Some(code))) => {
                heard.said.push(Said::State { state: meant(code), word: code.to_string() });
            }
            Some((state, None)) => {
                let word = clipped(&state.to_string());
                let why = format!("NewState is {}, which is no state", shortened(&word));
                heard.trouble(Trouble::Senseless, why);
                heard.said.push(Said::State { state: MachineState::Unknown, word });
            }
            None => heard.trouble(Trouble::Missing, "StationStateChanged has no NewState"),
        }
    }

    /// A fault is known by its occurrence, since that is all that a later message names it by.
    pub(super) fn fault_occurred(&mut self, body: &Body, heard: &mut Heard) {
        if self.reads(Signal::Faults) {
            match object(body, "Fault").and_then(occurrence) {
                Some((id, text)) => self.raised(id, text, heard),
                None => heard.trouble(Trouble::Missing, "the fault has no FaultOccurrenceId"),
            }
        }
    }

    pub(super) fn fault_cleared(&mut self, body: &Body, heard: &mut Heard) {
        if self.reads(Signal::Faults) {
            match text(body, "FaultOccurrenceId") {
                Some(id) => self.ended(clipped(id), heard),
                None => heard.trouble(Trouble::Missing, "FaultCleared has no FaultOccurrenceId"),
            }
        }
    }

    /// A list is all faults that are present; no list says nothing (since 1.7).
    pub(super) fn listed_faults(&mut self, body: &Body, heard: &mut Heard) {
        let Some(listed) = get(body, "ActiveFaults").and_then(Value::as_array) else { return };
        if !self.reads(Signal::Faults) {
            return;
        }
        let listed = listed.iter().filter_map(Value::as_object).filter_map(occurrence);
        let present: Vec<(String, String)> = listed.take(FAULTS_KEPT).collect();
        let gone = self.faults.iter().filter(|id| present.iter().all(|(known, _)| known != *id));
        for id in gone.cloned().collect::<Vec<_>>() {
            self.ended(id, heard);
        }
        for (id, text) in present {
            if !self.faults.contains(&id) {
                self.raised(id, text, heard);
            }
        }
    }

    fn raised(&mut self, code: String, text: String, heard: &mut Heard) {
        if self.faults.len() < FAULTS_KEPT {
            self.faults.insert(code.clone());
        }
        heard.said.push(Said::FaultRaised { code, text });
    }

    fn ended(&mut self, code: String, heard: &mut Heard) {
        self.faults.remove(&code);
        heard.said.push(Said::FaultEnded { code });
    }
}

/// A fault's occurrence, and the fault in words.
fn occurrence(fault: &Body) -> Option<(String, String)> {
    let id = clipped(text(fault, "FaultOccurrenceId")?);
    let words = ["FaultCode", "Severity", "Cause", "Description"];
    let words: Vec<&str> = words.iter().filter_map(|name| text(fault, name)).collect();
    Some((id, clipped(&words.join(", "))))
}

/// The number of a state: a number, or one in quotes; two had other spellings in the first
/// versions (`CFX/Structures/ResourceState.cs`).
fn code(state: &Value) -> Option<u64> {
    match state {
        Value::String(text) => match text.trim() {
            "22A0" => Some(2_201),
            "22B0" => Some(2_202),
            number => number.parse().ok(),
        },
        _ => state.as_u64(),
    }
}

/// What a state means: by its thousand, as SEMI E10 has them, but set-up.
fn meant(code: u64) -> MachineState {
    match code {
        1_000..=1_999 => MachineState::Running,
        2_000..=2_999 => MachineState::Idle,
        3_000..=3_999 | 4_500..=4_599 => MachineState::SetUp,
        4_000..=6_999 => MachineState::Down,
        _ => MachineState::Unknown,
    }
}
