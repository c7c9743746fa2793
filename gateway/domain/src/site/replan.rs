//! Another configuration takes effect while the gateway works.

use std::collections::BTreeSet;

use super::Site;
use super::live::Live;
use crate::event::{Configured, Event};
use crate::names::MachineName;
use crate::plant::Plant;
use crate::time::Timestamp;

/// What a new configuration brings.
#[derive(Debug, Clone, Default)]
pub struct Replan {
    /// The plant as it is from now on.
    pub plant: Plant,
    /// What has changed, in words.
    pub changes: Vec<String>,
    /// Who had the configuration read, when a person did.
    pub by: Option<String>,
    /// Machines whose links have ended: they begin anew, or the machine is taken out.
    pub ended: BTreeSet<MachineName>,
}

impl Site {
    /// Works by another plant from now on. Its list is taken in, every decision is taken anew.
    /// The links of machines that are taken out or change must have ended before.
    pub fn replan(&mut self, replan: Replan, now: Timestamp) {
        let Replan { plant, changes, by, ended } = replan;
        self.originate(now);
        let stays = |machine: &&MachineName| {
            plant.machines.contains_key(*machine) && !plant.on_trial(machine)
        };
        let leaving = ended.iter().filter(|machine| !stays(machine)).cloned().collect();
        self.release_held_of(&leaving);
        self.trials.retain(|name, _| plant.on_trial(name) && !ended.contains(name));
        for machine in &ended {
            self.link_lost(
                machine,
                if plant.machines.contains_key(machine) {
                    "the configuration of its link has changed: it is connected anew"
                } else {
                    "taken out of the configuration"
                },
            );
        }
        self.plant = plant;
        self.note_configuration(changes, by);
        self.follow_plant();
    }

    /// Takes in the plant's list, and decides anew whatever its limits and rules decide.
    pub(super) fn follow_plant(&mut self) {
        self.take_in(self.plant.stencils.values().cloned().collect());
        for code in self.state.stencils.keys().cloned().collect::<Vec<_>>() {
            self.note_band(&code);
        }
        self.reconsider_all();
    }

    /// Notes the configuration, if it is another one than before. A machine that is no longer on
    /// trial begins anew: nobody knows what is in it, and its next read is its first.
    pub(super) fn note_configuration(&mut self, changes: Vec<String>, by: Option<String>) {
        let Plant { digest, trial, timed, .. } = &self.plant;
        let (digest, trial, timed) = (digest.clone(), trial.clone(), timed.clone());
        let same = digest == self.state.digest && trial == self.state.trial;
        if changes.is_empty() && same && timed == self.state.timed {
            return;
        }
        for machine in self.state.trial.difference(&trial) {
            let live = Live::after_restart(self.origin.at, self.origin.at, true);
            self.live.insert(machine.clone(), live);
        }
        self.record(Event::Configured(Configured { digest, by, changes, trial, timed }));
    }
}
