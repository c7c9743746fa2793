//! The plant of the tests: machines of each kind, stencils with 1000 rated strokes.

use std::collections::BTreeMap;
use std::time::Duration;

use stencilward_domain::event::StencilSpec;
use stencilward_domain::names::{MachineName, OutputName, StencilCode};
use stencilward_domain::plant::{Bases, Listed, MachineKind, MachineSpec, OutputRule, Plant};

use super::words::{code, machine};

/// A printer that names its stencil.
pub(crate) const NAMER: &str = "namer";
/// Another printer that names its stencil.
pub(crate) const NAMER_2: &str = "namer-2";
/// A printer that cannot say which stencil is in it.
pub(crate) const MUTE: &str = "mute";
/// Another printer that cannot say which stencil is in it.
pub(crate) const MUTE_2: &str = "mute-2";
/// A washer.
pub(crate) const WASHER: &str = "washer";
/// Another washer.
pub(crate) const WASHER_2: &str = "washer-2";
/// A storage rack.
pub(crate) const RACK: &str = "rack";
/// Another storage rack.
pub(crate) const RACK_2: &str = "rack-2";
/// A scanner with its own connection.
pub(crate) const SCANNER: &str = "scanner";

/// Listed as clean.
pub(crate) const CLEAN: [&str; 3] = ["A", "B", "C"];
/// Listed without a word about its cleanliness.
pub(crate) const UNKNOWN: &str = "U";

/// Strokes that each stencil is rated for.
pub(crate) const RATED: u64 = 1_000;
/// Shortest time between two strokes, s.
pub(crate) const CYCLE: u64 = 5;

/// The output that each printer has.
pub(crate) const PERMIT: &str = "permit";
/// The output that each rack has.
pub(crate) const DOOR: &str = "door";

/// A stencil as the configuration lists it.
pub(crate) fn listed(name: &str, clean: bool) -> (StencilCode, Listed) {
    let spec = spec(name);
    let entry = Listed { spec, starting_strokes: 0, clean, source: "configuration".to_owned() };
    (code(name), entry)
}

/// What a stencil is.
pub(crate) fn spec(name: &str) -> StencilSpec {
    StencilSpec::rated(code(name), RATED)
}

fn fitted(kind: MachineKind, names_stencil: bool) -> MachineSpec {
    let output = |name, rule| (OutputName::new(name).expect("a good name"), rule);
    let outputs = match kind {
        MachineKind::Printer => BTreeMap::from([output(PERMIT, OutputRule::PrintPermit)]),
        MachineKind::Rack => BTreeMap::from([output(DOOR, OutputRule::DoorRelease)]),
        _ => BTreeMap::new(),
    };
    MachineSpec {
        kind,
        line: None,
        names_stencil,
        fastest_cycle: Duration::from_secs(CYCLE),
        outputs,
        counts_for: None,
        counters: BTreeMap::new(),
        bases: Bases::default(),
    }
}

/// The whole plant, with the default policy.
pub(crate) fn plant() -> Plant {
    let machines: [(MachineName, MachineSpec); 9] = [
        (machine(NAMER), fitted(MachineKind::Printer, true)),
        (machine(NAMER_2), fitted(MachineKind::Printer, true)),
        (machine(MUTE), fitted(MachineKind::Printer, false)),
        (machine(MUTE_2), fitted(MachineKind::Printer, false)),
        (machine(WASHER), fitted(MachineKind::Washer, false)),
        (machine(WASHER_2), fitted(MachineKind::Washer, false)),
        (machine(RACK), fitted(MachineKind::Rack, false)),
        (machine(RACK_2), fitted(MachineKind::Rack, false)),
        (machine(SCANNER), fitted(MachineKind::Other, false)),
    ];
    let mut stencils: BTreeMap<_, _> = CLEAN.iter().map(|name| listed(name, true)).collect();
    stencils.extend([listed(UNKNOWN, false)]);
    Plant { machines: BTreeMap::from(machines), stencils, ..Plant::default() }
}

/// The plant, changed.
pub(crate) fn plant_with(change: impl FnOnce(&mut Plant)) -> Plant {
    let mut plant = plant();
    change(&mut plant);
    plant
}
