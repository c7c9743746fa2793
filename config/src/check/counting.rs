//! Who counts for whom: printers that are named and are none, counters that nothing reads, bases
//! that nothing is wired for.

use std::collections::BTreeSet;

use stencilward_adapters::modbus::Point;
use stencilward_domain::event::BasisKind;
use stencilward_domain::names::{CounterName, LONGEST_NAME, MachineName};
use stencilward_domain::plant::{Counted, MachineKind, Plant};

use super::Found;
use crate::bases::Offers;
use crate::configuration::{
    BasisWord, Configuration, CounterSettings, MachineSettings, StrokesSettings,
};

/// The plant as the rules will see it, and what its machines tell.
struct Look<'a> {
    plant: Plant,
    offers: Offers,
    machines: Vec<(MachineName, &'a MachineSettings)>,
}

/// One machine under scrutiny.
struct At<'a> {
    look: &'a Look<'a>,
    path: String,
    name: MachineName,
    machine: &'a MachineSettings,
    found: &'a mut Found,
}

impl Configuration {
    pub(super) fn check_counting(&self, found: &mut Found) {
        // A machine on trial must be fit to go live.
        let plant = Plant { trial: BTreeSet::new(), ..self.plant() };
        let machines = self.machines.iter();
        let machines = machines
            .filter_map(|machine| Some((MachineName::new(&machine.name).ok()?, machine)))
            .collect();
        let look = Look { offers: self.offers(&plant), machines, plant };
        for (index, machine) in self.machines.iter().enumerate() {
            let Ok(name) = MachineName::new(&machine.name) else {
                continue;
            };
            let path = format!("machines[{index}]");
            let mut at = At { look: &look, path, name, machine, found };
            at.check_counts_for();
            at.check_counters();
            at.check_targets();
            at.check_strokes();
            if machine.is_printer() {
                at.check_silent();
                at.check_cycle();
            }
            at.check_contact();
        }
    }
}

impl Look<'_> {
    fn printers(&self) -> String {
        let printers = self.machines.iter().filter(|(_, machine)| machine.is_printer());
        let names: Vec<&str> = printers.map(|(name, _)| name.as_str()).collect();
        if names.is_empty() { "none is set up".to_owned() } else { names.join(", ") }
    }

    fn is_printer(&self, name: &MachineName) -> bool {
        self.plant.kind(name) == MachineKind::Printer
    }

    /// True when a counter, or strokes told one by one, are counted for this printer.
    fn is_counted(&self, printer: &MachineName) -> bool {
        self.machines.iter().any(|(name, machine)| {
            let tally = machine.tally();
            let counter = |counter| self.plant.counted(name, counter).0 == *printer;
            tally.counters.keys().any(counter)
                || (tally.strokes && self.plant.printer_of(name) == *printer)
        })
    }
}

impl At<'_> {
    fn tell(&mut self, key: &str, wrong: impl Into<String>) {
        let dot = if key.is_empty() { "" } else { "." };
        self.found.push((format!("{}{dot}{key}", self.path), wrong.into()));
    }

    /// Tells of a name that is no printer's.
    fn check_printer(&mut self, key: &str, printer: &str) {
        let known = MachineName::new(printer).is_ok_and(|name| self.look.is_printer(&name));
        if !known {
            let wrong = format!(
                "no printer is named {printer:?}; write one of the printers: {}",
                self.look.printers()
            );
            self.tell(key, wrong);
        }
    }

    fn check_counts_for(&mut self) {
        let Some(printer) = self.machine.counts_for.clone() else {
            return;
        };
        if self.machine.is_printer() {
            return self.tell(
                "counts-for",
                "a printer counts for itself; leave this key out, and give single counters \
                 another printer with counters: [{ counter: .., of: .. }]",
            );
        }
        self.check_printer("counts-for", &printer);
        let tally = self.machine.tally();
        if tally.counters.is_empty() && !tally.strokes && !tally.wipes && !tally.orders {
            self.tell(
                "counts-for",
                "it tells of no strokes, wipes, boards or orders; map one, such as stroke-total, \
                 or leave this key out",
            );
        }
    }

    fn check_counters(&mut self) {
        let mapped = self.machine.tally().counters;
        let mut seen = BTreeSet::new();
        for (index, counter) in self.machine.counters.iter().enumerate() {
            let key = format!("counters[{index}]");
            let name = CounterName::new(&counter.counter).ok();
            let counted = name.as_ref().and_then(|name| mapped.get(name)).copied();
            if counted.is_none() {
                let names: Vec<&str> = mapped.keys().map(CounterName::as_str).collect();
                let names = if names.is_empty() { "none".to_owned() } else { names.join(", ") };
                let wrong = format!(
                    "no stroke-total or wipe-total reads a counter {:?}; counters: {names}",
                    counter.counter
                );
                self.tell(&format!("{key}.counter"), wrong);
            }
            if !seen.insert(name) {
                let wrong = format!("{:?} is listed twice; once is allowed", counter.counter);
                self.tell(&format!("{key}.counter"), wrong);
            }
            self.check_counter(&key, counter, counted);
        }
    }

    fn check_counter(&mut self, key: &str, counter: &CounterSettings, counted: Option<Counted>) {
        if let Some(printer) = &counter.of {
            self.check_printer(&format!("{key}.of"), printer);
        }
        match (counter.counts.map(Counted::from), counted) {
            (None, _) if counter.of.is_none() => {
                self.tell(key, "says nothing of the counter; give of, counts, or both");
            }
            (Some(Counted::Strokes), Some(Counted::Wipes)) => self.tell(
                &format!("{key}.counts"),
                "it is read as wipe-total; read it as stroke-total, or leave this key out",
            ),
            _ => {}
        }
    }

    /// What a machine counts is counted for a printer, under a name that can be kept.
    fn check_targets(&mut self) {
        let tally = self.machine.tally();
        let mut nobody = (tally.strokes || tally.wipes)
            && !self.look.is_printer(&self.look.plant.printer_of(&self.name));
        for counter in tally.counters.keys() {
            let (printer, _) = self.look.plant.counted(&self.name, counter);
            nobody |= printer == self.name && !self.machine.is_printer();
            let length = format!("{}/{counter}", self.name).chars().count();
            if printer != self.name && length > LONGEST_NAME {
                let wrong = format!(
                    "with the counter {counter} it makes the name {}/{counter}, of {length} \
                     characters; {LONGEST_NAME} are allowed: shorten one of them",
                    self.name
                );
                self.tell("name", wrong);
            }
        }
        if self.machine.counts_for.is_some() {
            return;
        }
        if tally.orders && !nobody && self.on_a_shared_line() {
            let wrong = "missing: its line has several printers, and boards and orders are about \
                         one; name it, and make a machine of each where it speaks of several";
            self.tell("counts-for", wrong);
        }
        if nobody {
            let wrong = format!(
                "missing: it counts strokes or wipes and is no printer; name the printer that \
                 makes them; printers: {}",
                self.look.printers()
            );
            self.tell("counts-for", wrong);
        }
    }

    /// True when it is no printer and its line has more than one.
    fn on_a_shared_line(&self) -> bool {
        let line = &self.machine.line;
        let machines = self.look.machines.iter().map(|(_, machine)| machine);
        let printers = machines.filter(|other| other.is_printer() && other.line == *line);
        line.is_some() && !self.machine.is_printer() && printers.count() > 1
    }

    fn check_strokes(&mut self) {
        let Some(strokes) = self.machine.strokes.clone() else {
            return;
        };
        if !self.machine.is_printer() {
            return self.tell("strokes", "belongs on a printer; leave this key out");
        }
        if let Some(word) = strokes.book {
            self.check_wired("strokes.book", word);
        }
        self.check_checks(&strokes);
    }

    fn check_checks(&mut self, strokes: &StrokesSettings) {
        let books = self.look.plant.machines.get(&self.name).map(|spec| spec.bases.book.clone());
        let books = books.unwrap_or_default();
        let mut seen = BTreeSet::new();
        for (index, word) in strokes.check.iter().flatten().enumerate() {
            let key = format!("strokes.check[{index}]");
            let kind = BasisKind::from(*word);
            if !seen.insert(*word) {
                self.tell(&key, format!("{} is listed twice; once is allowed", kind.as_str()));
            } else if *word == BasisWord::Hand {
                self.tell(&key, "what people enter is always booked and cannot check");
            } else if books.contains(&kind) {
                let wrong = format!("{} books these strokes; another one can check", kind.as_str());
                self.tell(&key, wrong);
            } else {
                self.check_wired(&key, *word);
            }
        }
    }

    /// Tells of a basis that nothing gives. Orders also come from people and programs, hands from
    /// nowhere else.
    fn check_wired(&mut self, key: &str, word: BasisWord) {
        let kind = BasisKind::from(word);
        let possible = self.look.offers.possible(&self.name);
        if possible.contains(&kind) || matches!(word, BasisWord::Order | BasisWord::Hand) {
            return;
        }
        let remedy = match word {
            BasisWord::Counter => "map its stroke-total",
            BasisWord::Reported => "map its strokes-done",
            _ => "let another machine count with counts-for",
        };
        let wired: Vec<&str> = possible.iter().map(|kind| kind.as_str()).collect();
        let wired = if wired.is_empty() { "nothing".to_owned() } else { wired.join(", ") };
        let wrong = format!(
            "nothing is wired that gives {}; {remedy}; wired: {wired}; order and hand need no wire",
            kind.as_str()
        );
        self.tell(key, wrong);
    }

    /// A printer that says nothing itself needs somebody who tells of its strokes.
    fn check_silent(&mut self) {
        let speaks = self.machine.modbus.is_some()
            || self.machine.mqtt.is_some()
            || self.machine.sparkplug.is_some()
            || self.machine.cfx.is_some();
        let book = self.machine.strokes.as_ref().and_then(|strokes| strokes.book);
        let without_wire = matches!(book, Some(BasisWord::Order | BasisWord::Hand));
        if !speaks && !without_wire && self.look.offers.possible(&self.name).is_empty() {
            let wrong = format!(
                "it speaks no protocol and nobody counts its strokes; add a modbus, an mqtt, a \
                 sparkplug or a cfx section, let another machine count with counts-for: {}, or say strokes: \
                 {{ book: order }} or {{ book: hand }}",
                self.name
            );
            self.tell("", wrong);
        }
    }

    fn check_cycle(&mut self) {
        if self.machine.fastest_cycle.is_none() && self.look.is_counted(&self.name) {
            self.tell(
                "fastest-cycle",
                "missing: where strokes are counted, say the shortest time between two of them, \
                 such as 8s; faster counting is not believed",
            );
        }
    }

    /// A contact must be seen closed and open within one stroke.
    fn check_contact(&mut self) {
        let Some(modbus) = &self.machine.modbus else {
            return;
        };
        let contact = |point: &Point| matches!(point, Point::StrokeContact(_));
        let Some(index) = modbus.points.iter().position(contact) else {
            return;
        };
        let printer = self.look.plant.printer_of(&self.name);
        let cycle = self.look.plant.fastest_cycle(&printer);
        let poll = modbus.poll.0;
        if !cycle.is_zero() && poll * 2 > cycle {
            let wrong = format!(
                "points[{index}] counts a contact, which must be seen closed and open within the \
                 fastest cycle of {printer}; set at most half of it, and less where the contact \
                 closes for a shorter time; or read a counter of the module as stroke-total"
            );
            self.tell("modbus.poll", wrong);
        }
    }
}
