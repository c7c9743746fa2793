//! The floor of the simulated plant, invented: 40 lines, 2,000 stencils, four racks, four washers.

use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

use stencilward_domain::alarm::AlarmPolicy;
use stencilward_domain::event::{BasisKind, StencilSpec};
use stencilward_domain::names::{CounterName, MachineName, SlotName, StencilCode};
use stencilward_domain::plant::{Bases, Listed, MachineKind, MachineSpec, Plant, Policy};

use super::makes::{MAKES, Make, Second, Source};

/// Lines of the plant.
pub(crate) const LINES: usize = 40;
/// Stencils of the plant.
pub(crate) const STENCILS: usize = 2_000;
/// Stencils that belong to one line.
pub(crate) const POOL: usize = STENCILS / LINES;
/// The shortest time a stroke takes, ms.
pub(crate) const CYCLE: i64 = 5_000;
/// Racks, and as many washers.
const RACKS: usize = 4;

/// A stencil by its number. Those from [`STENCILS`] on are in no list.
pub(crate) type Stencil = u16;

/// Names made once.
pub(crate) struct Floor {
    pub(crate) plant: Plant,
    pub(crate) codes: Vec<StencilCode>,
    pub(crate) slots: Vec<SlotName>,
    pub(crate) racks: Vec<MachineName>,
    pub(crate) washers: Vec<MachineName>,
    pub(crate) printers: Vec<MachineName>,
    pub(crate) modules: Vec<MachineName>,
    pub(crate) total: CounterName,
}

pub(crate) fn make_of(line: usize) -> Make {
    MAKES[line % MAKES.len()]
}

impl Floor {
    pub(crate) fn new() -> Self {
        let machines = |kind: &str, count: usize| -> Vec<MachineName> {
            (0..count).map(|n| MachineName::new(&format!("{kind}-{n:02}")).unwrap()).collect()
        };
        let numbered = |n: usize| format!("ST-{n:04}");
        let mut floor = Self {
            plant: Plant::default(),
            codes: (0..STENCILS + LINES).map(|n| StencilCode::new(&numbered(n)).unwrap()).collect(),
            slots: (0..STENCILS).map(|n| SlotName::new(&n.to_string()).unwrap()).collect(),
            racks: machines("rack", RACKS),
            washers: machines("washer", RACKS),
            printers: machines("printer", LINES),
            modules: machines("module", LINES),
            total: CounterName::new("total").unwrap(),
        };
        floor.plant = floor.planned();
        floor
    }

    /// The rack that keeps a stencil, and the washer beside it.
    pub(crate) fn corner(&self, stencil: Stencil) -> (&MachineName, &MachineName, &SlotName) {
        let number = usize::from(stencil);
        let corner = number % RACKS;
        (&self.racks[corner], &self.washers[corner], &self.slots[number])
    }

    fn planned(&self) -> Plant {
        let mut machines = BTreeMap::new();
        for name in &self.racks {
            machines.insert(name.clone(), spec(MachineKind::Rack));
        }
        for name in &self.washers {
            machines.insert(name.clone(), spec(MachineKind::Washer));
        }
        for line in 0..LINES {
            let make = make_of(line);
            let printer = MachineSpec {
                line: Some(format!("line-{line:02}")),
                names_stencil: make.names,
                bases: bases(make),
                ..spec(MachineKind::Printer)
            };
            let module = MachineSpec {
                line: printer.line.clone(),
                counts_for: matches!(make.source, Source::Pulses(_) | Source::Edges)
                    .then(|| self.printers[line].clone())
                    .or((make.second == Second::Pulses).then(|| self.printers[line].clone())),
                ..spec(MachineKind::Other)
            };
            machines.insert(self.printers[line].clone(), printer);
            machines.insert(self.modules[line].clone(), module);
        }
        let stencils = self.codes.iter().take(STENCILS).map(|code| (code.clone(), listed(code)));
        // No stroke depends on an alarm, and nobody is there all year to see to them.
        let alarms = AlarmPolicy::none();
        let policy = Policy { print_needs_take: false, alarms, ..Policy::default() };
        Plant { policy, machines, stencils: stencils.collect(), ..Plant::default() }
    }
}

fn spec(kind: MachineKind) -> MachineSpec {
    MachineSpec {
        kind,
        line: None,
        names_stencil: false,
        fastest_cycle: Duration::from_millis(CYCLE.unsigned_abs()),
        counts_for: None,
        counters: BTreeMap::new(),
        bases: Bases::default(),
        outputs: BTreeMap::new(),
    }
}

fn bases(make: Make) -> Bases {
    let check = match make.second {
        Second::None => None,
        Second::Pulses => Some(BasisKind::Pulses),
        Second::Order => Some(BasisKind::Order),
        Second::Counter => Some(BasisKind::Counter),
    };
    Bases { book: BTreeSet::from([make.source.kind()]), check: check.into_iter().collect() }
}

fn listed(code: &StencilCode) -> Listed {
    let spec = StencilSpec::rated(code.clone(), 40_000);
    Listed { spec, starting_strokes: 0, clean: true, source: "an invented list".to_owned() }
}
