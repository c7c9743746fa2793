//! What a machine's points let it say.

use stencilward_domain::plant::Counted;
use stencilward_domain::signal::MachineState;

use crate::modbus::settings::Settings;
use crate::modbus::wiring::{Pulse, Wiring};
use crate::simulated::{Slots, Wired};

/// Rounds of reads in which what is shown is read for certain.
const ROUNDS: u32 = 2;

pub(super) fn wired(settings: &Settings, wiring: &Wiring) -> Wired {
    let tally = settings.tally();
    let counts = |name| tally.counters.get(name).copied().unwrap_or(Counted::Strokes);
    let counters = wiring.counters.iter();
    let pulses = |pulse| wiring.contacts.iter().any(|contact| contact.counts == pulse);
    let gauges = wiring.measured.iter().map(|gauge| (gauge.quantity.clone(), gauge.unit.clone()));
    let (measures_washes, measures): (Vec<_>, Vec<_>) = if wiring.wash.is_some() {
        (gauges.collect(), Vec::new())
    } else {
        (Vec::new(), gauges.collect())
    };
    let slots: Vec<_> = wiring.slots.keys().cloned().collect();
    let slowest = settings.points.iter().filter_map(|point| point.place().poll).max();
    Wired {
        says: settings.points.iter().map(|point| point.title()).collect(),
        counters: counters.map(|c| (c.name.clone(), c.width, counts(&c.name))).collect(),
        strokes: pulses(Pulse::Stroke),
        wipes: pulses(Pulse::Wipe),
        boards: pulses(Pulse::Board) || wiring.boards.is_some(),
        seat: wiring.seat.code.is_some(),
        states: states(wiring),
        faults: faults(wiring),
        slots: if slots.is_empty() { Slots::None } else { Slots::Named(slots) },
        asks_store: wiring.ask.as_ref().is_some_and(|ask| ask.store.is_some()),
        asks_take: wiring.ask.as_ref().is_some_and(|ask| ask.take.is_some()),
        answered: false,
        washes: wiring.wash.is_some(),
        names_washed: wiring.wash.as_ref().is_some_and(|wash| wash.stencil.is_some()),
        measures_washes,
        measures,
        names_measured: wiring.station.as_ref().is_some_and(|station| station.stencil.is_some()),
        releases_orders: false,
        starts_orders: wiring.order.is_some(),
        finishes_orders: wiring.order.is_some(),
        read_within: Some(slowest.unwrap_or(settings.poll).max(settings.poll).0 * ROUNDS),
    }
}

fn states(wiring: &Wiring) -> Vec<MachineState> {
    let listed = wiring.state.iter().flat_map(|(_, meanings)| meanings.values().copied());
    listed.collect()
}

fn faults(wiring: &Wiring) -> Vec<(String, String)> {
    let bits = wiring.faults.iter().map(|fault| (fault.code.clone(), fault.text.clone()));
    let numbers = wiring.fault_code.iter().flat_map(|(_, texts)| texts);
    let numbers = numbers.filter(|(_, text)| !text.is_empty());
    bits.chain(numbers.map(|(raw, text)| (raw.0.to_string(), text.clone()))).collect()
}
