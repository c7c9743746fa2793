//! What a link told its observer.

use std::sync::Mutex;
use std::time::Duration;

use stencilward_adapters::link::{Observer, Trouble};
use stencilward_domain::names::{MachineName, OutputName};

#[derive(Default)]
pub(crate) struct Notes {
    troubles: Mutex<Vec<(Trouble, String)>>,
    outputs: Mutex<Vec<(bool, Option<bool>)>>,
}

impl Observer for Notes {
    fn trouble(&self, _: &MachineName, kind: Trouble, detail: &str) {
        self.troubles.lock().unwrap().push((kind, detail.to_owned()));
    }

    fn round(&self, _: &MachineName, _: Duration) {}

    fn output(&self, _: &MachineName, _: &OutputName, wanted: bool, shown: Option<bool>) {
        self.outputs.lock().unwrap().push((wanted, shown));
    }
}

impl Notes {
    pub(crate) fn troubles(&self) -> Vec<(Trouble, String)> {
        self.troubles.lock().unwrap().clone()
    }

    pub(crate) fn has(&self, kind: Trouble, word: &str) -> bool {
        self.troubles().iter().any(|(known, why)| *known == kind && why.contains(word))
    }

    /// What was last told of the output: what is wanted, and what is shown.
    pub(crate) fn last_output(&self) -> Option<(bool, Option<bool>)> {
        self.outputs.lock().unwrap().last().copied()
    }
}
