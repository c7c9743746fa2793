//! What every output should be, as a value that links compare with what they read back.

use std::collections::{BTreeMap, BTreeSet};

use crate::names::{MachineName, OutputName};

/// The wanted state of all outputs. An output that is not permitted is refused: so is one that
/// nobody mentions.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Wanted {
    /// Grows while the gateway is alive and its ledger takes writes; heartbeat outputs show it.
    pub beat: u64,
    permitted: BTreeMap<MachineName, BTreeSet<OutputName>>,
}

impl Wanted {
    /// True when this output shall permit.
    #[must_use]
    pub fn permits(&self, machine: &MachineName, output: &OutputName) -> bool {
        self.permitted.get(machine).is_some_and(|outputs| outputs.contains(output))
    }

    /// Lets this output permit.
    pub fn permit(&mut self, machine: MachineName, output: OutputName) {
        self.permitted.entry(machine).or_default().insert(output);
    }

    /// The outputs of which these two want something else.
    pub fn changed<'a>(
        &'a self,
        after: &'a Self,
    ) -> impl Iterator<Item = (&'a MachineName, &'a OutputName)> {
        let all = |wanted: &'a Self| {
            let machines = wanted.permitted.iter();
            machines.flat_map(|(machine, outputs)| outputs.iter().map(move |o| (machine, o)))
        };
        let gone = all(self).filter(|(machine, output)| !after.permits(machine, output));
        gone.chain(all(after).filter(|(machine, output)| !self.permits(machine, output)))
    }

    /// Takes back every permission: what is wanted when the gateway cannot be sure.
    pub fn refuse_all(&mut self) {
        self.permitted.clear();
    }
}
