//! Stencils going into printers and washers, and out of them.

use super::Site;
use super::live::Continuity;
use crate::event::Event;
use crate::names::{CounterName, MachineName, StencilCode};
use crate::place::Place;
use crate::plant::MachineKind;

impl Site {
    /// A machine or a scan says which stencil is in the machine.
    pub(super) fn seated(&mut self, machine: &MachineName, code: &StencilCode, by: Option<&str>) {
        let before = self.was_in(machine);
        let changed = before.as_ref() != Some(code);
        let gap = self.live.get(machine).is_some_and(|live| !live.gaps.is_empty());
        let unseen = changed && (gap || !self.seat_sure(machine, self.origin.at));
        if changed || self.strayed(machine, code, by) {
            self.stencil_changes(machine);
            if let Some(before) = before.filter(|_| changed) {
                self.take_out(machine, &before, by, unseen);
            }
            if !self.seen_since(code) {
                self.vacate(code);
            }
            let (stencil, name, by) = (code.clone(), machine.clone(), by.map(str::to_owned));
            self.record(if self.plant.kind(machine) == MachineKind::Washer {
                Event::Loaded { stencil, machine: name, by }
            } else {
                Event::Seated { stencil, machine: name, by, unseen }
            });
        }
        self.confirm(machine);
    }

    /// True when the stencil is thought to have left the machine that now says it is in there.
    /// What a rack or another machine says by itself is not overruled by a repetition.
    fn strayed(&self, machine: &MachineName, code: &StencilCode, by: Option<&str>) -> bool {
        let place = self.state.stencils.get(code).map(|s| &s.place.value);
        match place {
            None => false,
            Some(_) if self.seen_since(code) => false,
            Some(Place::Printer { machine: holder } | Place::Washer { machine: holder }) => {
                holder != machine && (by.is_some() || !self.plant.names_stencil(holder))
            }
            Some(Place::Slot { .. }) => by.is_some(),
            Some(Place::InHand | Place::Unknown) => true,
        }
    }

    /// A machine or a scan says that nothing is in the machine. A washer may hold a stencil that
    /// nobody scanned into it.
    pub(super) fn removed(&mut self, machine: &MachineName, by: Option<&str>) {
        let before = self.was_in(machine).or_else(|| self.only_one_in(machine).ok());
        let unseen = !self.seat_sure(machine, self.origin.at);
        if let Some(code) = before {
            self.stencil_changes(machine);
            self.take_out(machine, &code, by, unseen);
        } else if unseen {
            let known = self.state.machines.get(machine);
            let counters: Vec<CounterName> =
                known.into_iter().flat_map(|machine| machine.counters.keys().cloned()).collect();
            self.live_mut(machine).gaps.extend(counters);
        }
        self.confirm(machine);
    }

    /// What is in the machine is certain from now on.
    fn confirm(&mut self, machine: &MachineName) {
        let at = self.origin.at;
        let live = self.live_mut(machine);
        live.continuity = Continuity::Sure;
        live.last_heard = at;
        self.release_held(machine);
    }

    /// What was in the machine when what is being told happened.
    fn was_in(&self, machine: &MachineName) -> Option<StencilCode> {
        if self.changed_since(machine) {
            self.in_machine_then(machine).ok()?.pop_last()
        } else {
            self.in_machine(machine)
        }
    }

    fn in_machine(&self, machine: &MachineName) -> Option<StencilCode> {
        Some(self.state.machines.get(machine)?.seat.as_ref()?.code.clone())
    }

    fn take_out(
        &mut self,
        machine: &MachineName,
        code: &StencilCode,
        by: Option<&str>,
        unseen: bool,
    ) {
        let (stencil, machine) = (code.clone(), machine.clone());
        self.record(Event::Removed { stencil, machine, by: by.map(str::to_owned), unseen });
    }

    /// A stencil that turns up elsewhere has left the machine it was in, unless that machine
    /// names its stencil by itself: then it will say so, or two stencils bear one code.
    pub(super) fn vacate(&mut self, code: &StencilCode) {
        let place = self.state.stencils.get(code).map(|stencil| stencil.place.value.clone());
        if let Some(Place::Printer { machine } | Place::Washer { machine }) = place
            && self.in_machine(&machine).as_ref() == Some(code)
            && !self.plant.names_stencil(&machine)
        {
            self.take_out(&machine, code, None, false);
        }
    }
}
