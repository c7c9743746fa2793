//! Who counts for which printer, and which basis of its strokes books.

use std::collections::{BTreeMap, BTreeSet};

use stencilward_adapters::settings::Tally;
use stencilward_adapters::{cfx, modbus, mqtt, sparkplug};
use stencilward_domain::event::BasisKind;
use stencilward_domain::names::{CounterName, MachineName};
use stencilward_domain::plant::{Bases, Counted, CounterSpec, MachineKind, Plant};

use crate::configuration::{Configuration, MachineSettings};

/// The order in which a basis is chosen to book where nobody chose.
const CHOICE: [BasisKind; 4] =
    [BasisKind::Counter, BasisKind::Reported, BasisKind::Pulses, BasisKind::Order];

/// What the wiring lets machines tell of the strokes of printers.
#[derive(Debug, Default)]
pub(crate) struct Offers {
    wired: BTreeMap<MachineName, BTreeSet<BasisKind>>,
    /// By messages that name their printer: of any.
    named: BTreeSet<BasisKind>,
}

impl Offers {
    /// What is told of this printer for certain.
    pub(crate) fn wired(&self, printer: &MachineName) -> BTreeSet<BasisKind> {
        self.wired.get(printer).cloned().unwrap_or_default()
    }

    /// What may be told of this printer.
    pub(crate) fn possible(&self, printer: &MachineName) -> BTreeSet<BasisKind> {
        &self.wired(printer) | &self.named
    }

    fn bases(&self, printer: &MachineName, settings: &MachineSettings) -> Bases {
        let wired = self.wired(printer);
        let first = |of: &BTreeSet<_>| CHOICE.into_iter().find(|kind| of.contains(kind));
        let chosen = settings.strokes.as_ref();
        let book = chosen
            .and_then(|strokes| strokes.book)
            .map(BasisKind::from)
            .or_else(|| first(&wired))
            .or_else(|| first(&self.named))
            .unwrap_or(BasisKind::Hand);
        let check = match chosen.and_then(|strokes| strokes.check.as_ref()) {
            Some(words) => words.iter().map(|word| (*word).into()).collect(),
            None => wired.into_iter().filter(|kind| *kind != book).collect(),
        };
        Bases { book: [book].into(), check }
    }
}

impl Configuration {
    /// Sets in the plant which basis of each printer books, and which counters count its wipes.
    pub(crate) fn settle_counting(&self, plant: &mut Plant) {
        let others: Vec<CounterName> = self
            .machines
            .iter()
            .flat_map(|machine| machine.tally_of_others().counters)
            .filter_map(|(counter, counted)| (counted == Counted::Wipes).then_some(counter))
            .collect();
        let offers = self.offers(plant);
        for settings in self.machines.iter().filter(|machine| machine.is_printer()) {
            let Some((name, spec)) = MachineName::new(&settings.name)
                .ok()
                .and_then(|name| Some((name.clone(), plant.machines.get_mut(&name)?)))
            else {
                continue;
            };
            spec.bases = offers.bases(&name, settings);
            let own = settings.tally().counters;
            for counter in others.iter().filter(|counter| !own.contains_key(*counter)) {
                let wipes = CounterSpec { counts: Counted::Wipes, of: None };
                spec.counters.entry(counter.clone()).or_insert(wipes);
            }
        }
    }

    /// What the wiring offers of each printer's strokes. What a machine on trial tells counts for
    /// nothing.
    pub(crate) fn offers(&self, plant: &Plant) -> Offers {
        let mut offers = Offers::default();
        for machine in &self.machines {
            let name = MachineName::new(&machine.name);
            if name.as_ref().is_ok_and(|name| plant.on_trial(name)) {
                continue;
            }
            if let Ok(name) = name {
                for (printer, basis) in told(plant, &name, &machine.tally()) {
                    offers.wired.entry(printer).or_default().insert(basis);
                }
            }
            let others = machine.tally_of_others();
            let counts = others.counters.values().any(|counted| *counted == Counted::Strokes);
            offers.named.extend(counts.then_some(BasisKind::Counter));
            offers.named.extend(others.strokes.then_some(BasisKind::Reported));
            offers.named.extend(others.orders.then_some(BasisKind::Order));
        }
        offers
    }
}

/// The bases a machine gives, each with its printer.
fn told(plant: &Plant, machine: &MachineName, tally: &Tally) -> Vec<(MachineName, BasisKind)> {
    let by = |printer: MachineName, own: BasisKind| {
        let basis = if printer == *machine { own } else { BasisKind::Pulses };
        (printer, basis)
    };
    let mut told = Vec::new();
    for counter in tally.counters.keys() {
        let (printer, counted) = plant.counted(machine, counter);
        if counted == Counted::Strokes {
            told.push(by(printer, BasisKind::Counter));
        }
    }
    let printer = plant.printer_of(machine);
    if tally.strokes {
        told.push(by(printer.clone(), BasisKind::Reported));
    }
    if tally.orders {
        told.push((printer, BasisKind::Order));
    }
    told
}

impl MachineSettings {
    pub(crate) fn is_printer(&self) -> bool {
        MachineKind::from(self.kind) == MachineKind::Printer
    }

    /// What it tells of strokes, wipes and orders: its own, or those of the printer it counts for.
    pub(crate) fn tally(&self) -> Tally {
        let modbus = self.modbus.as_ref().map(modbus::Settings::tally);
        modbus
            .or_else(|| self.mqtt.as_ref().map(mqtt::Settings::tally))
            .or_else(|| self.sparkplug.as_ref().map(sparkplug::Settings::tally))
            .or_else(|| self.cfx.as_ref().map(cfx::Settings::tally))
            .unwrap_or_default()
    }

    /// What it tells of machines that its messages name.
    pub(crate) fn tally_of_others(&self) -> Tally {
        self.mqtt.as_ref().map(mqtt::Settings::tally_of_others).unwrap_or_default()
    }

    /// Its counters that count anything but the strokes of the printer it counts for.
    pub(crate) fn counter_specs(&self) -> BTreeMap<CounterName, CounterSpec> {
        let mapped = self.tally().counters;
        let wipes = mapped.iter().filter(|(_, counted)| **counted == Counted::Wipes);
        let mut specs: BTreeMap<CounterName, CounterSpec> = wipes
            .map(|(name, _)| (name.clone(), CounterSpec { counts: Counted::Wipes, of: None }))
            .collect();
        for counter in &self.counters {
            let Ok(name) = CounterName::new(&counter.counter) else {
                continue;
            };
            let usual = mapped.get(&name).copied().unwrap_or(Counted::Strokes);
            let counts = counter.counts.map_or(usual, Counted::from);
            let of = counter.of.as_deref().and_then(|of| MachineName::new(of).ok());
            specs.insert(name, CounterSpec { counts, of });
        }
        specs
    }
}
