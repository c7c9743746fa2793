//! Machines as such: their links, states, faults and orders.

use super::Site;
use super::live::Continuity;
use crate::event::{Event, MessageNumbered};
use crate::machine::{LinkState, Machine};
use crate::names::MachineName;
use crate::signal::Said;
use crate::time::Timestamp;

impl Site {
    pub(super) fn link_up(&mut self, machine: &MachineName, resumed: bool) {
        let at = self.origin.at;
        let names_stencil = self.plant.names_stencil(machine);
        self.live_mut(machine).up(at, resumed, names_stencil);
        if !matches!(self.link(machine), Some(LinkState::Up)) {
            self.record(Event::MachineUp { machine: machine.clone() });
        }
    }

    pub(super) fn link_lost(&mut self, machine: &MachineName, why: &str) {
        let at = self.origin.at;
        self.live_mut(machine).lost(at);
        if !matches!(self.link(machine), Some(LinkState::Down { .. })) {
            self.record(Event::MachineDown { machine: machine.clone(), why: why.to_owned() });
        }
    }

    fn link(&self, machine: &MachineName) -> Option<&LinkState> {
        Some(&self.state.machines.get(machine)?.link)
    }

    /// True when the stencil thought to be in the machine is there for certain enough.
    pub(super) fn seat_sure(&self, machine: &MachineName, now: Timestamp) -> bool {
        match self.live.get(machine).map(|live| (&live.continuity, live.up_since)) {
            None | Some((Continuity::Sure, _)) => true,
            Some((Continuity::Broken { since }, up_since)) => {
                up_since.unwrap_or(now).apart(*since) <= self.plant.policy.trusted_outage
            }
        }
    }

    /// What a machine said of itself, if it is news.
    pub(super) fn news_of_machine(&self, machine: &MachineName, said: &Said) -> Option<Event> {
        let known = self.state.machines.get(machine);
        let is = |test: &dyn Fn(&Machine) -> bool| known.is_some_and(test);
        let name = machine.clone();
        match said.clone() {
            Said::State { state, word } => {
                let known =
                    is(&|m| m.state.as_ref().is_some_and(|(s, w)| (*s, w) == (state, &word)));
                (!known).then_some(Event::MachineStateChanged { machine: name, state, word })
            }
            Said::FaultRaised { code, text } => {
                let known = is(&|m| m.faults.get(&code) == Some(&text));
                (!known).then_some(Event::FaultRaised { machine: name, code, text })
            }
            Said::FaultEnded { code } => is(&|m| m.faults.contains_key(&code))
                .then_some(Event::FaultEnded { machine: name, code }),
            Said::MessageNumbered { sequence, number } => numbered(known, name, sequence, number),
            Said::Measured { measurement, .. } if !measurement.value.is_finite() => None,
            Said::Measured { code, measurement } => {
                let seated = known.and_then(|m| m.seat.as_ref()).map(|seat| seat.code.clone());
                let stencil = code.or(seated)?;
                let listed = self.state.stencils.contains_key(&stencil);
                listed.then_some(Event::Measured { stencil, machine: Some(name), measurement })
            }
            _ => None,
        }
    }
}

/// Most sequences of one machine that are followed; its topics are the configuration's, but the
/// levels in them are whatever it sends.
const MOST_SEQUENCES: usize = 1_000;

/// A number that goes back is a repeat, or a machine that begins anew: nothing is missed. One that
/// goes on by more than one has left some out.
fn numbered(
    known: Option<&Machine>,
    machine: MachineName,
    sequence: String,
    number: u64,
) -> Option<Event> {
    let last = known.and_then(|machine| machine.numbers.get(&sequence)).copied();
    let full = known.is_some_and(|machine| machine.numbers.len() >= MOST_SEQUENCES);
    if last == Some(number) || (last.is_none() && full) {
        return None;
    }
    let missed = last.map_or(0, |last| number.saturating_sub(last).saturating_sub(1));
    let numbered = MessageNumbered { machine, sequence, number, missed };
    Some(Event::MessageNumbered(numbered))
}
