//! Links as the configuration describes them, so that two configurations can be compared.

use std::collections::{BTreeMap, BTreeSet};

use stencilward_adapters::link::Link;
use stencilward_adapters::settings::Drive;
use stencilward_adapters::{files, modbus, mqtt};
use stencilward_domain::names::MachineName;

use crate::configuration::{Configuration, MachineSettings};

/// One link: to a machine that has its own, to the machines of one address or serial port, or to a
/// broker with the machines that speak through it. Equal wires need no new link.
#[derive(Debug, Clone, PartialEq)]
pub struct Wire {
    speaks: Speaks,
    /// Its machines that are on trial.
    trial: BTreeSet<MachineName>,
}

#[derive(Debug, Clone, PartialEq)]
enum Speaks {
    Modbus(String, Vec<(MachineName, modbus::Settings)>),
    Files(MachineName, files::Settings),
    Mqtt(Box<mqtt::Broker>, Vec<(MachineName, mqtt::Settings)>),
}

impl Wire {
    /// What people know it by.
    #[must_use]
    pub fn name(&self) -> String {
        match &self.speaks {
            Speaks::Modbus(place, machines) => match machines.as_slice() {
                [(machine, _)] => format!("machine {machine}"),
                _ => format!("line {place}"),
            },
            Speaks::Files(machine, _) => format!("machine {machine}"),
            Speaks::Mqtt(broker, _) => format!("broker {}", broker.name),
        }
    }

    /// The machines that speak over it.
    #[must_use]
    pub fn machines(&self) -> BTreeSet<MachineName> {
        match &self.speaks {
            Speaks::Modbus(_, machines) => machines.iter().map(|(name, _)| name.clone()).collect(),
            Speaks::Files(machine, _) => [machine.clone()].into(),
            Speaks::Mqtt(_, machines) => machines.iter().map(|(name, _)| name.clone()).collect(),
        }
    }

    /// The link, not running yet.
    #[must_use]
    pub fn link(self) -> Box<dyn Link> {
        match self.speaks {
            Speaks::Modbus(_, machines) => Box::new(modbus::Link::shared(machines)),
            Speaks::Files(machine, settings) => Box::new(files::Link::new(machine, settings)),
            Speaks::Mqtt(broker, machines) => Box::new(mqtt::Link::new(*broker, machines)),
        }
    }
}

impl Configuration {
    /// A wire for each machine that has a link of its own, and one for each broker, address or
    /// serial port that several machines share.
    #[must_use]
    pub fn wires(&self) -> Vec<Wire> {
        let named = self
            .machines
            .iter()
            .filter_map(|machine| Some((MachineName::new(&machine.name).ok()?, machine.wired())));
        let named: Vec<(MachineName, MachineSettings)> = named.collect();
        let mut all = Vec::new();
        let mut places: BTreeMap<String, Vec<(MachineName, modbus::Settings)>> = BTreeMap::new();
        for (name, machine) in &named {
            if let Some(settings) = &machine.modbus
                && let Some(place) = settings.place()
            {
                places.entry(place).or_default().push((name.clone(), settings.clone()));
            }
            if let Some(settings) = &machine.files {
                all.push(Speaks::Files(name.clone(), settings.clone()));
            }
        }
        for (place, mut machines) in places {
            machines.sort_by(|(one, _), (other, _)| one.cmp(other));
            all.push(Speaks::Modbus(place, machines));
        }
        for broker in &self.brokers {
            let speaking = named.iter().filter_map(|(name, machine)| {
                let settings = machine.mqtt.as_ref().filter(|mqtt| mqtt.broker == broker.name)?;
                Some((name.clone(), settings.clone()))
            });
            let mut speaking: Vec<(MachineName, mqtt::Settings)> = speaking.collect();
            speaking.sort_by(|(one, _), (other, _)| one.cmp(other));
            all.push(Speaks::Mqtt(Box::new(broker.clone()), speaking));
        }
        let trial: BTreeSet<MachineName> =
            named.into_iter().filter_map(|(name, machine)| machine.trial.then_some(name)).collect();
        let wire = |speaks| {
            let wire = Wire { speaks, trial: BTreeSet::new() };
            Wire { trial: &wire.machines() & &trial, ..wire }
        };
        all.into_iter().map(wire).collect()
    }
}

impl MachineSettings {
    /// The settings its link works with. On trial nothing is written but heartbeats, no question
    /// is answered, and what it says of other machines counts as its own.
    fn wired(&self) -> Self {
        let mut machine = self.clone();
        if !machine.trial {
            return machine;
        }
        if let Some(modbus) = &mut machine.modbus {
            modbus.outputs.retain(|output| output.drive() == Drive::Heartbeat);
        }
        if let Some(mqtt) = &mut machine.mqtt {
            mqtt.outputs.retain(|output| output.drive == Drive::Heartbeat);
            for message in &mut mqtt.messages {
                (message.answer, message.machine) = (None, None);
            }
        }
        machine
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    const PLANT: &str = "\
site: Invented Works
brokers: [{ name: floor, address: \"127.0.0.1:1883\", client: stencilward }]
machines:
  - name: printer-1
    kind: printer
    fastest-cycle: 8s
    modbus:
      address: 127.0.0.1:502
      points:
        - { signal: stroke-total, table: input, at: 0, type: u16 }
      outputs:
        - { name: lock, drive: print-permit, table: coil, at: 0 }
        - { name: alive, drive: heartbeat, table: holding, at: 50 }
  - name: rack-1
    kind: rack
    mqtt:
      broker: floor
      messages:
        - { topic: ask, signal: store-asked, stencil: /code, answer: answers, machine: /rack }
      outputs:
        - { name: door, drive: door-release, topic: door, permit: open, refuse: shut }
";

    fn wires(text: &str) -> Vec<Wire> {
        let plant = crate::parse("plant.yaml", text);
        plant.unwrap_or_else(|faults| panic!("{faults:#?}")).wires()
    }

    #[test]
    fn on_trial_nothing_is_written_but_heartbeats() {
        let live = wires(PLANT);
        for (machine, kind, other) in [(0, "printer", 1), (1, "rack", 0)] {
            let text = PLANT
                .replace(&format!("kind: {kind}\n"), &format!("kind: {kind}\n    trial: true\n"));
            let tried = wires(&text);
            assert_ne!(tried[machine], live[machine]);
            assert_eq!(tried[other], live[other]);
            match &tried[machine].speaks {
                Speaks::Modbus(_, machines) => {
                    let settings = &machines[0].1;
                    let drives: Vec<Drive> =
                        settings.outputs.iter().map(|output| output.drive()).collect();
                    assert_eq!(drives, [Drive::Heartbeat]);
                }
                Speaks::Mqtt(_, machines) => {
                    let settings = &machines[0].1;
                    assert!(settings.outputs.is_empty());
                    let message = &settings.messages[0];
                    assert_eq!((&message.answer, &message.machine), (&None, &None));
                }
                Speaks::Files(..) => panic!("no folder is in the plant"),
            }
        }
    }

    #[test]
    fn what_no_link_needs_to_know_keeps_its_wire() {
        let other = PLANT.replace("fastest-cycle: 8s", "fastest-cycle: 7s\n    line: line-1");
        assert_eq!(wires(&other), wires(PLANT));
    }
}
