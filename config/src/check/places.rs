//! Machines at one address or serial port share a connection, and must speak alike.

use std::collections::BTreeMap;

use stencilward_adapters::modbus;

use super::Found;
use crate::configuration::MachineSettings;

pub(super) fn check_places(machines: &[MachineSettings], found: &mut Found) {
    let mut places: BTreeMap<String, Vec<(usize, &str, &modbus::Settings)>> = BTreeMap::new();
    for (index, machine) in machines.iter().enumerate() {
        if let Some(settings) = &machine.modbus
            && let Some(place) = settings.place()
        {
            places.entry(place).or_default().push((index, &machine.name, settings));
        }
    }
    for machines in places.values() {
        let named: Vec<(&str, &modbus::Settings)> =
            machines.iter().map(|(_, name, settings)| (*name, *settings)).collect();
        for (which, key, wrong) in modbus::check_shared(&named) {
            if let Some((index, ..)) = machines.get(which) {
                found.push((format!("machines[{index}].modbus.{key}"), wrong));
            }
        }
    }
}
