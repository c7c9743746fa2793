//! Links as the configuration describes them, so that two configurations can be compared.

use std::collections::{BTreeMap, BTreeSet};
use std::sync::Arc;

use stencilward_adapters::link::{Link, Observer};
use stencilward_adapters::record::{Recorder, Tapes, Writer};
use stencilward_adapters::settings::Drive;
use stencilward_adapters::shown::View;
use stencilward_adapters::sparkplug::{self, AtBroker, OwnNode};
use stencilward_adapters::{cfx, files, modbus, mqtt};
use stencilward_domain::names::MachineName;

use crate::configuration::{Configuration, MachineSettings};
use crate::recorded::Recorded;

/// One link: to a machine that has its own, to the machines of one address or serial port, or to a
/// broker with the machines that speak through it. Equal wires need no new link.
#[derive(Debug, Clone, PartialEq)]
pub struct Wire {
    speaks: Speaks,
    /// Its machines that are on trial.
    trial: BTreeSet<MachineName>,
    /// Its machines that are recorded.
    recorded: Vec<Recorded>,
}

#[derive(Debug, Clone, PartialEq)]
enum Speaks {
    Modbus(String, Vec<(MachineName, modbus::Settings)>),
    Files(MachineName, files::Settings),
    Mqtt(Box<mqtt::Broker>, Vec<(MachineName, mqtt::Settings)>),
    Sparkplug(Box<mqtt::Broker>, AtBroker, Vec<(MachineName, sparkplug::Settings)>),
    OwnNode(Box<mqtt::Broker>, OwnNode),
    Cfx(Box<cfx::Endpoint>, Vec<(MachineName, cfx::Settings)>),
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
            Speaks::Cfx(endpoint, _) => format!("CFX endpoint {}", endpoint.name),
            Speaks::Sparkplug(broker, ..) => format!("edge nodes at {}", broker.name),
            Speaks::OwnNode(broker, own) => {
                format!("edge node {}/{} at {}", own.group, own.edge_node, broker.name)
            }
        }
    }

    /// The machines that speak over it.
    #[must_use]
    pub fn machines(&self) -> BTreeSet<MachineName> {
        match &self.speaks {
            Speaks::Modbus(_, machines) => machines.iter().map(|(name, _)| name.clone()).collect(),
            Speaks::Files(machine, _) => [machine.clone()].into(),
            Speaks::Mqtt(_, machines) => machines.iter().map(|(name, _)| name.clone()).collect(),
            Speaks::Sparkplug(_, _, machines) => {
                machines.iter().map(|(name, _)| name.clone()).collect()
            }
            Speaks::Cfx(_, machines) => machines.iter().map(|(name, _)| name.clone()).collect(),
            Speaks::OwnNode(..) => BTreeSet::new(),
        }
    }

    /// An observer for the link that has what its recorded machines say written down, and the
    /// writers that do so; where none is recorded the observer itself.
    #[must_use]
    pub fn recorder(&self, observer: Arc<dyn Observer>) -> (Arc<dyn Observer>, Vec<Writer>) {
        if self.recorded.is_empty() {
            return (observer, Vec::new());
        }
        let (mut tapes, mut writers) = (Tapes::new(), Vec::new());
        for Recorded { about, settings } in self.recorded.clone() {
            let machine = about.machine.clone();
            let (writer, tape) = Writer::new(about, settings, Arc::clone(&observer));
            tapes.insert(machine, tape);
            writers.push(writer);
        }
        (Arc::new(Recorder::new(observer, tapes)), writers)
    }

    /// The link, not running yet. One that publishes the plant's state sees it through `view`.
    #[must_use]
    pub fn link(self, view: &View) -> Box<dyn Link> {
        match self.speaks {
            Speaks::Modbus(_, machines) => Box::new(modbus::Link::shared(machines)),
            Speaks::Files(machine, settings) => Box::new(files::Link::new(machine, settings)),
            Speaks::Mqtt(broker, machines) => Box::new(mqtt::Link::new(*broker, machines)),
            Speaks::Cfx(endpoint, machines) => Box::new(cfx::Link::new(*endpoint, machines)),
            Speaks::Sparkplug(broker, at, machines) => {
                Box::new(sparkplug::Link::new(*broker, at, machines))
            }
            Speaks::OwnNode(broker, own) => {
                Box::new(sparkplug::OwnNodeLink::new(*broker, own, view.clone()))
            }
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
            all.extend(self.sparkplug_at(broker, &named));
        }
        all.extend(self.cfx_endpoints(&named));
        let recorded: Vec<Recorded> =
            self.machines.iter().filter_map(MachineSettings::recorded).collect();
        let trial: BTreeSet<MachineName> =
            named.into_iter().filter_map(|(name, machine)| machine.trial.then_some(name)).collect();
        let wire = |speaks| {
            let wire = Wire { speaks, trial: BTreeSet::new(), recorded: Vec::new() };
            let machines = wire.machines();
            let own = recorded.iter().filter(|recorded| machines.contains(&recorded.about.machine));
            Wire { trial: &machines & &trial, recorded: own.cloned().collect(), ..wire }
        };
        all.into_iter().map(wire).collect()
    }
}

impl Configuration {
    /// The link of each CFX endpoint that hears a machine, or is there to answer.
    fn cfx_endpoints(&self, named: &[(MachineName, MachineSettings)]) -> Vec<Speaks> {
        let wire = |endpoint: &cfx::Endpoint| {
            let speaking = named.iter().filter_map(|(name, machine)| {
                let settings = machine.cfx.as_ref().filter(|cfx| cfx.endpoint == endpoint.name)?;
                Some((name.clone(), settings.clone()))
            });
            let mut speaking: Vec<(MachineName, cfx::Settings)> = speaking.collect();
            speaking.sort_by(|(one, _), (other, _)| one.cmp(other));
            Speaks::Cfx(Box::new(endpoint.clone()), speaking)
        };
        self.cfx.iter().map(wire).collect()
    }

    /// The link to the edge nodes of a broker, and the one as an edge node of it.
    fn sparkplug_at(
        &self,
        broker: &mqtt::Broker,
        named: &[(MachineName, MachineSettings)],
    ) -> Vec<Speaks> {
        let listed = self.sparkplug.iter().find(|at| at.broker == broker.name);
        let mut at = listed.cloned().unwrap_or_else(|| AtBroker::usual(&broker.name));
        let own = at.publish_as.take().map(|own| {
            let mut kept_in = self.ledger.clone().into_os_string();
            kept_in.push(format!(".births-at-{}", broker.name.replace(['/', '\0'], "_")));
            Speaks::OwnNode(Box::new(broker.clone()), OwnNode { kept_in: kept_in.into(), ..own })
        });
        let speaking = named.iter().filter_map(|(name, machine)| {
            let settings = machine.sparkplug.as_ref().filter(|s| s.broker == broker.name)?;
            Some((name.clone(), settings.clone()))
        });
        let mut speaking: Vec<(MachineName, sparkplug::Settings)> = speaking.collect();
        speaking.sort_by(|(one, _), (other, _)| one.cmp(other));
        let hears = !speaking.is_empty();
        let host = hears.then(|| Speaks::Sparkplug(Box::new(broker.clone()), at, speaking));
        host.into_iter().chain(own).collect()
    }
}

impl MachineSettings {
    /// The settings its link works with. On trial nothing is written but heartbeats, no question
    /// is answered, and what it says of other machines counts as its own.
    pub(crate) fn wired(&self) -> Self {
        let mut machine = self.clone();
        if !machine.trial {
            return machine;
        }
        if let Some(modbus) = &mut machine.modbus {
            modbus.outputs.retain(|output| output.drive() == Drive::Heartbeat);
        }
        if let Some(sparkplug) = &mut machine.sparkplug {
            sparkplug.outputs.retain(|output| output.drive == Drive::Heartbeat);
        }
        if let Some(cfx) = &mut machine.cfx {
            (cfx.outputs, cfx.requests) = (Vec::new(), None);
            cfx.tool_check = None;
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
                other => panic!("not in the plant: {other:?}"),
            }
        }
    }

    #[test]
    fn what_no_link_needs_to_know_keeps_its_wire() {
        let other = PLANT.replace("fastest-cycle: 8s", "fastest-cycle: 7s\n    line: line-1");
        assert_eq!(wires(&other), wires(PLANT));
    }
}
