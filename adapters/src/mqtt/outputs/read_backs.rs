//! What machines tell of their outputs.

use std::collections::HashMap;
use std::sync::{Mutex, MutexGuard, PoisonError};

use stencilward_domain::names::MachineName;
use tokio::sync::Notify;

use crate::mqtt::settings::{Output, Settings};

/// What the machines tell of their outputs.
#[derive(Debug, Default)]
pub(in crate::mqtt) struct ReadBacks {
    outputs: HashMap<String, Vec<Output>>,
    shown: Mutex<HashMap<String, bool>>,
    pub(super) changed: Notify,
}

impl ReadBacks {
    pub(in crate::mqtt) fn new(machines: &[(MachineName, Settings)]) -> Self {
        let mut outputs: HashMap<String, Vec<Output>> = HashMap::new();
        for output in machines.iter().flat_map(|(_, settings)| &settings.outputs) {
            if let Some(topic) = &output.read_back {
                outputs.entry(topic.clone()).or_default().push(output.clone());
            }
        }
        Self { outputs, ..Self::default() }
    }

    pub(in crate::mqtt) fn topics(&self) -> impl Iterator<Item = &String> {
        self.outputs.keys()
    }

    /// Takes in a message; false when it is no read-back.
    pub(in crate::mqtt) fn hear(&self, topic: &str, payload: &[u8]) -> bool {
        let Some(outputs) = self.outputs.get(topic) else {
            return false;
        };
        for output in outputs {
            if let Some(permits) = read(output, payload) {
                self.lock().insert(key(topic, output), permits);
                self.changed.notify_one();
            }
        }
        true
    }

    /// The broker is lost: what a machine shows now is not known.
    pub(in crate::mqtt) fn forget(&self) {
        self.lock().clear();
        self.changed.notify_one();
    }

    pub(super) fn shown(&self, output: &Output) -> Option<bool> {
        self.lock().get(&key(output.read_back.as_deref()?, output)).copied()
    }

    fn lock(&self) -> MutexGuard<'_, HashMap<String, bool>> {
        self.shown.lock().unwrap_or_else(PoisonError::into_inner)
    }
}

fn key(topic: &str, output: &Output) -> String {
    let value = output.value.as_deref().unwrap_or_default();
    format!("{topic}\n{value}\n{}", output.name)
}

/// What a read-back says: permits, refuses, or neither.
fn read(output: &Output, payload: &[u8]) -> Option<bool> {
    let word = match &output.value {
        None => std::str::from_utf8(payload).ok()?.trim().to_owned(),
        Some(pointer) => {
            let json: serde_json::Value = serde_json::from_slice(payload).ok()?;
            match json.pointer(pointer)? {
                serde_json::Value::String(text) => text.clone(),
                other => other.to_string(),
            }
        }
    };
    [true, false].into_iter().find(|permits| output.shown_word(*permits) == word)
}
