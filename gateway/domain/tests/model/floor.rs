//! The smallest plant in which everything can happen: a rack with one slot, a printer that names
//! its stencil, one that does not, a washer, two stencils; limits of seconds.

use std::collections::BTreeMap;
use std::time::Duration;

use stencilward_domain::alarm::AlarmPolicy;
use stencilward_domain::event::StencilSpec;
use stencilward_domain::names::{CounterName, MachineName, OutputName, SlotName, StencilCode};
use stencilward_domain::plant::{
    Bases, Listed, MachineKind, MachineSpec, OutputRule, Plant, Policy,
};

/// A stencil.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub(crate) enum Stencil {
    /// Clean; one stroke short of being stopped.
    A,
    /// Nobody knows whether it is clean.
    U,
}

/// A printer.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub(crate) enum Printer {
    /// Says what is in it; its total is read.
    Namer,
    /// Says nothing of its stencil; sends each stroke with an identity.
    Mute,
}

impl Stencil {
    pub(crate) const ALL: [Self; 2] = [Self::A, Self::U];

    pub(crate) fn code(self) -> StencilCode {
        StencilCode::new(if self == Self::A { "A" } else { "U" }).unwrap()
    }

    pub(crate) fn of(code: &StencilCode) -> Option<Self> {
        Self::ALL.into_iter().find(|stencil| stencil.code() == *code)
    }

    /// Strokes it is rated for, and those made before.
    pub(crate) fn life(self) -> (u64, u64) {
        if self == Self::A { (2, 1) } else { (2, 0) }
    }
}

impl Printer {
    pub(crate) const ALL: [Self; 2] = [Self::Namer, Self::Mute];

    pub(crate) fn name(self) -> MachineName {
        machine(if self == Self::Namer { "namer" } else { "mute" })
    }

    pub(crate) fn of(name: &MachineName) -> Option<Self> {
        Self::ALL.into_iter().find(|printer| printer.name() == *name)
    }
}

fn machine(name: &str) -> MachineName {
    MachineName::new(name).unwrap()
}

pub(crate) fn rack() -> MachineName {
    machine("rack")
}

pub(crate) fn washer() -> MachineName {
    machine("washer")
}

pub(crate) fn slot() -> SlotName {
    SlotName::new("1").unwrap()
}

pub(crate) fn total() -> CounterName {
    CounterName::new("total").unwrap()
}

pub(crate) fn permit() -> OutputName {
    OutputName::new("permit").unwrap()
}

/// How long a permit may be carried out, s.
pub(crate) const PERMIT: i64 = 10;
/// Strokes that a concession allows.
pub(crate) const GRANTED: u64 = 1;
/// Until when a concession holds, s from when it is granted.
pub(crate) const CONCESSION: i64 = 15;
/// No limit is longer, s.
pub(crate) const LONGEST: i64 = 80;

fn policy() -> Policy {
    let seconds = Duration::from_secs;
    Policy {
        wash_age: Some(seconds(LONGEST.unsigned_abs())),
        hand_reported_wash: true,
        dry_out: seconds(40),
        print_needs_take: false,
        permit_time: seconds(PERMIT.unsigned_abs()),
        trusted_outage: seconds(20),
        seat_wait: seconds(5),
        // No decision looks at an alarm: they would only multiply the states.
        alarms: AlarmPolicy::none(),
        ..Policy::default()
    }
}

fn fitted(kind: MachineKind, names_stencil: bool) -> MachineSpec {
    let rule = match kind {
        MachineKind::Printer => Some(OutputRule::PrintPermit),
        MachineKind::Rack => Some(OutputRule::DoorRelease),
        _ => None,
    };
    MachineSpec {
        kind,
        line: None,
        names_stencil,
        fastest_cycle: Duration::from_secs(1),
        counts_for: None,
        counters: BTreeMap::new(),
        bases: Bases::default(),
        outputs: rule.map(|rule| (permit(), rule)).into_iter().collect(),
    }
}

pub(crate) fn plant() -> Plant {
    let machines = BTreeMap::from([
        (Printer::Namer.name(), fitted(MachineKind::Printer, true)),
        (Printer::Mute.name(), fitted(MachineKind::Printer, false)),
        (washer(), fitted(MachineKind::Washer, false)),
        (rack(), fitted(MachineKind::Rack, false)),
    ]);
    let listed = |stencil: Stencil| {
        let (rated, starting_strokes) = stencil.life();
        let spec = StencilSpec::rated(stencil.code(), rated);
        let clean = stencil == Stencil::A;
        let source = "an invented list".to_owned();
        (stencil.code(), Listed { spec, starting_strokes, clean, source })
    };
    let stencils = Stencil::ALL.into_iter().map(listed).collect();
    Plant { policy: policy(), machines, stencils, ..Plant::default() }
}
